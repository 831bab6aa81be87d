"""Approve a rule set with all that it changes: one record for each person concerned."""

from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic import clock, policies
from clinic.models import AuditRecord, Member, Patient, Policy
from clinic.trail import audit
from scheduling.rule_changes import preview_jobs
from scheduling.rule_changes.preview import DutyChange, RulePreview, basis, make_preview

ACTION = "recall.accept_change"
LOOK_AGAIN = gettext_lazy(
    "What this set would do has not been looked at, or has changed since: look at the preview first."
)


def approve(*, policy: Policy, by: Member, revision: int, digest: str, accepted: Iterable[str]) -> Policy:
    """Bring a set into force, by whoever has seen what it does; one record for each patient whose dates change."""
    # Seconds of work stay outside the transaction; inside it, what they rest on is compared once more.
    seen = basis(policy, clock.today())
    found = preview_jobs.kept(policy, clock.today(), seen) or make_preview(policy, clock.today())
    if digest != found.digest:
        raise policies.PolicyRefused(LOOK_AGAIN)
    # By groups and not one tick for all: “some come later” is not what anybody can answer for.
    if set(found.lengthened) - set(accepted):
        raise policies.PolicyRefused(_("Some people would be seen later: tick each of these as accepted."))
    with transaction.atomic():
        if basis(policy, clock.today()) != seen:
            raise policies.PolicyRefused(LOOK_AGAIN)
        done = policies.approve(policy=policy, by=by, revision=revision)
        _record(found, by)
    return done


def _record(found: RulePreview, by: Member) -> None:
    by_patient: dict[int, list[DutyChange]] = defaultdict(list)
    for one in found.changes:
        by_patient[one.patient].append(one)
    about = {"rules": found.policy.version, "preview": found.digest}
    for key, changes in by_patient.items():
        words = [_plain(one) for one in changes]
        audit.record(ACTION, by=by, subject=found.policy, patient=found.patients[key], **about, changes=words)


def _plain(one: DutyChange) -> dict[str, object]:
    return {
        "what": f"{one.purpose} {one.subject}",
        "rule": [one.rule_before, one.rule_after],
        "before": [str(day) for day in one.before or ()],
        "after": [str(day) for day in one.after or ()],
        "longer_by": one.longer_by,
        "falls_away": one.falls_away,
    }


def add_accepted_counts(versions: list[policies.Version]) -> None:
    """Write into each version how many people's dates were accepted with it, and how many of them come later."""
    found = {audit.subject_of(one.policy): one for one in versions}
    moved: dict[str, set[int]] = defaultdict(set)
    later: dict[str, set[int]] = defaultdict(set)
    rows = AuditRecord.objects.filter(action=ACTION, subject__in=found)
    for subject, patient, changes in rows.values_list("subject", "patient", "details__changes"):
        moved[subject].add(patient)
        if any(one["longer_by"] or one["falls_away"] for one in changes):
            later[subject].add(patient)
    for subject, people in moved.items():
        found[subject].accepted = _accepted(len(people), len(later[subject]))


def _accepted(people: int, later: int) -> str:
    if not later:
        words = ngettext("%(people)s person, none seen later", "%(people)s people, none seen later", people)
    else:
        words = ngettext(
            "%(people)s person, %(later)s seen later", "%(people)s people, %(later)s seen later", people
        )
    return words % {"people": people, "later": later}


def changes_of(policy: Policy) -> tuple[list[DutyChange], dict[int, Patient]]:
    """Find every change that was accepted with this set, and the people whom they concern."""
    rows = AuditRecord.objects.filter(action=ACTION, subject=audit.subject_of(policy)).select_related(
        "patient"
    )
    people = {row.patient.pk: row.patient for row in rows if row.patient}
    return [one for row in rows if row.patient for one in _changes(row, row.patient.pk)], people


def _changes(row: AuditRecord, patient: int) -> Iterator[DutyChange]:
    for plain in row.details["changes"]:
        purpose, _sep, subject = plain["what"].partition(" ")
        before, after = preview_jobs.window(plain["before"]), preview_jobs.window(plain["after"])
        rules, longer = plain["rule"], (plain["longer_by"], plain["falls_away"])
        yield DutyChange(patient, purpose, subject, rules[0], rules[1], before, after, *longer)
