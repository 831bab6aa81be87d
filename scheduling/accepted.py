"""What was accepted with a rule set when it was approved, read back from the records of everybody concerned."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from typing import Any

from clinic import audit, policies
from clinic.models import AuditRecord, Patient, Policy
from scheduling.preview import Change, Window

ACTION = "recall.accept_change"


def say(versions: list[policies.Version]) -> None:
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
        found[subject].accepted = f"{_people(len(people))}, {len(later[subject]) or 'none'} seen later"


def _people(count: int) -> str:
    return f"{count} person" if count == 1 else f"{count} people"


def changes_of(policy: Policy) -> tuple[list[Change], dict[int, Patient]]:
    """Every change that was accepted with this set, and the people whom they concern."""
    rows = AuditRecord.objects.filter(action=ACTION, subject=audit.subject_of(policy)).select_related(
        "patient"
    )
    people = {row.patient.pk: row.patient for row in rows if row.patient}
    return [one for row in rows for one in _changes(row)], people


def _changes(row: AuditRecord) -> Iterator[Change]:
    for plain in row.details["changes"]:
        purpose, _, subject = plain["what"].partition(" ")
        yield Change(
            row.patient_id, purpose, subject, *plain["rule"], _window(plain["before"]), _window(plain["after"]),
            plain["longer_by"], plain["falls_away"],
        )  # fmt: skip


def _window(days: list[Any]) -> Window | None:
    earliest, target, latest = map(date.fromisoformat, days) if days else (None, None, None)
    return (earliest, target, latest) if earliest and target and latest else None
