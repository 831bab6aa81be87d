"""Check what no single value of FACTS shows to be wrong: ids, subjects, days and intervals beside each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scheduling.rules import dates
from scheduling.rules.facts.codec import UnreadableFacts

if TYPE_CHECKING:
    from scheduling.rules.facts.facts import Facts

# What each purpose may be about; the first is what a rule plans it for.
_SUBJECTS = {
    "full_skin_check": ("patient",),
    "risk_assessment": ("patient",),
    "lesion_image": ("lesion",),
    # Under the patient: a concern about no lesion that is on record.
    "lesion_examination": ("lesion", "patient"),
    "rest_of_skin_check": ("patient",),
    # Under the patient: after a procedure that is not on record, as a clinician set it.
    "result_visit": ("procedure", "patient"),
    "wound_check": ("procedure", "patient"),
    "suture_removal": ("procedure", "patient"),
}


def subject_of(purpose: str) -> str:
    """Say what a purpose is about: patient, lesion, procedure or diagnosis."""
    return _SUBJECTS.get(purpose, ("diagnosis",))[0]


def check(facts: Facts) -> None:
    """Raise UnreadableFacts with the path of the first fault."""
    _ids(facts)
    _risk(facts)
    _overrides(facts)
    _subjects(facts)


def _ids(facts: Facts) -> None:
    for name in ("diagnoses", "lesions", "decisions", "procedures", "overrides"):
        seen: set[str] = set()
        for index, item in enumerate(getattr(facts, name)):
            if item.id in seen:
                raise UnreadableFacts(f"{name}[{index}].id", "twice", value=item.id)
            seen.add(item.id)


def _risk(facts: Facts) -> None:
    risk = facts.patient.risk
    if risk and risk.since and risk.since > risk.assessed_on:
        raise UnreadableFacts("patient.risk.since", "after_assessment", value=risk.since)


def _overrides(facts: Facts) -> None:
    for index, override in enumerate(facts.overrides):
        if (override.interval is None) == (override.date is None):
            raise UnreadableFacts(f"overrides[{index}]", "interval_or_date")
        if override.interval is not None and not dates.parse(override.interval):
            raise UnreadableFacts(f"overrides[{index}].interval", "no_interval")


def _subjects(facts: Facts) -> None:
    # A completion under another subject would silently complete nothing.
    for name in ("done", "closed", "overrides"):
        for index, item in enumerate(getattr(facts, name)):
            path, wanted = f"{name}[{index}].subject", _SUBJECTS.get(item.purpose, ())
            if wanted and item.subject.partition(":")[0] not in wanted:
                raise UnreadableFacts(path, "belongs_elsewhere", value=item.purpose, kind=wanted[0])
