"""Count the year of a large clinic in the background, every morning and whenever somebody asks for it anew."""

from collections import Counter
from datetime import date
from typing import Any

from clinic import clock, jobs
from clinic.models import Policy
from scheduling import background
from scheduling.capacity.forecast import Wanted, count_wanted
from scheduling.models import YearRun
from scheduling.planning.rules_in_force import rules_in_force, rules_of


def find_forecast(today: date) -> tuple[Wanted | None, YearRun | None]:
    """Find what is wanted, with the run that counted it; while it counts anew, what it counted before."""
    rules = rules_in_force()
    if rules is None or not background.is_large():
        return count_wanted(today, rules[1] if rules else None), None
    run = _ask(rules[0], today)
    return (_read_result(run.result) if run.result else None), run


def ask_anew(today: date) -> None:
    """Ask for the year to be counted once more, as facts have changed since the morning."""
    rules = rules_in_force()
    if rules and background.is_large():
        run = _ask(rules[0], today)
        if background.ask_again(YearRun, run.pk):
            jobs.request_work("year", run.pk)


def every_morning(today: date) -> None:
    rules = rules_in_force()
    if rules and background.is_large():
        _ask(rules[0], today)
        # A forecast of yesterday is no record of care: nothing rests on it.
        YearRun.objects.filter(day__lt=today).delete()


def _ask(policy: Policy, today: date) -> YearRun:
    run, is_new = YearRun.objects.get_or_create(policy=policy, day=today, defaults={"asked_at": clock.now()})
    if is_new:
        jobs.request_work("year", run.pk)
    return run


def waiting() -> list[int]:
    return background.waiting(YearRun)


def work(run_id: int) -> None:
    if not background.claim(YearRun, run_id):
        return
    run = YearRun.objects.select_related("policy").get(pk=run_id)
    result = vars(count_wanted(run.day, rules_of(run.policy)))
    YearRun.objects.filter(pk=run_id).update(made_at=clock.now(), result=result)


def _read_result(result: dict[str, Any]) -> Wanted:
    return Wanted(**result | {"weeks": [Counter(week) for week in result["weeks"]]})
