"""Work out previews of a large clinic in the background, and keep each until what it rests on has changed."""

from collections import Counter
from dataclasses import asdict
from datetime import date
from typing import Any

from clinic import clock, jobs
from clinic.models import Patient, Policy
from scheduling import background
from scheduling.models import PreviewRun
from scheduling.planning.rules_in_force import rules_in_force
from scheduling.rule_changes.preview import DutyChange, NoAnswer, RulePreview, Window, basis, make_preview


def find_preview(policy: Policy, today: date) -> RulePreview | PreviewRun:
    """Find what the set would do; a run is asked for where working it out takes too long for a page."""
    if not background.is_large():
        return make_preview(policy, today)
    return kept(policy, today, basis(policy, today)) or _ask(policy)


def kept(policy: Policy, today: date, seen: str) -> RulePreview | None:
    """Give the result of the last run, if it rests on exactly this."""
    run = PreviewRun.objects.filter(policy=policy, basis=seen, made_at__isnull=False).first()
    return _read_result(run.result, policy, today) if run else None


def _ask(policy: Policy) -> PreviewRun:
    """Ask for a preview: a run that waits or is being worked out is not asked for twice."""
    run, _ = PreviewRun.objects.get_or_create(policy=policy, defaults={"asked_at": clock.now()})
    if background.ask_again(PreviewRun, run.pk, basis=""):
        run.refresh_from_db()
    jobs.request_work("preview", run.pk)
    return run


def waiting() -> list[int]:
    """List the previews that no worker has taken."""
    return background.waiting(PreviewRun)


def work(run_id: int) -> None:
    """Work out one preview; what it rests on is read before, so that a later change shows."""
    if not background.claim(PreviewRun, run_id):
        return
    policy = Policy.objects.get(preview_run=run_id)
    today = clock.today()
    seen = basis(policy, today)
    result = _write_result(make_preview(policy, today))
    PreviewRun.objects.filter(pk=run_id).update(made_at=clock.now(), basis=seen, result=result)


def _write_result(found: RulePreview) -> dict[str, Any]:
    return {
        "records": found.records,
        "behind": found.behind,
        "changes": [asdict(one) for one in found.changes],
        "no_answer": [asdict(one) for one in found.no_answer],
        "load": [_months(found.load_before), _months(found.load_after)],
    }


def _months(counted: Counter[date]) -> dict[str, int]:
    return {str(month): count for month, count in counted.items()}


def _read_result(result: dict[str, Any], policy: Policy, today: date) -> RulePreview:
    changes = [_change(plain) for plain in result["changes"]]
    no_answer = [NoAnswer(**plain) for plain in result["no_answer"]]
    current = rules_in_force()
    people = {*(one.patient for one in changes), *(one.patient for one in no_answer)}
    before, after = ({date.fromisoformat(k): v for k, v in one.items()} for one in result["load"])
    return RulePreview(
        policy=policy,
        today=today,
        replaced=current[0] if current else None,
        patients=Patient.objects.in_bulk(people),
        records=result["records"],
        behind=result["behind"],
        changes=changes,
        no_answer=no_answer,
        load_before=Counter(before),
        load_after=Counter(after),
    )


def _change(plain: dict[str, Any]) -> DutyChange:
    return DutyChange(**plain | {"before": window(plain["before"]), "after": window(plain["after"])})


def window(days: list[str] | None) -> Window | None:
    """Read days as they were written into JSON; empty where nothing was asked for."""
    if not days:
        return None
    earliest, target, latest = (date.fromisoformat(day) for day in days)
    return earliest, target, latest
