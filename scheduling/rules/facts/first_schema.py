"""FACTS of schema 1: what follows a procedure stood under the patient, one row for however many procedures."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scheduling.rules.facts.facts import Closed, Done, Facts, Override, Procedure
    from scheduling.rules.plan.plan import Due, Plan

AFTER_A_PROCEDURE = frozenset({"result_visit", "wound_check", "suture_removal"})
PATIENT = "patient"


def brought_up(known: Facts) -> Facts:
    """The same facts under schema 2: what was said of “the patient” was said of every procedure it can have meant."""
    procedures = sorted(known.procedures, key=lambda row: (row.on, row.id))
    return replace(
        known,
        done=tuple(new for row in known.done for new in _done(row, procedures)),
        closed=tuple(new for row in known.closed for new in _closed(row, procedures)),
        overrides=tuple(new for row in known.overrides for new in _override(row, procedures)),
    )


def merged(plan: Plan) -> Plan:
    """The answer as schema 1 gave it: of several procedures the row with the earliest latest day, all the reasons."""
    rows: dict[tuple[str, str], Due] = {}
    for due in plan.due:
        key = due.purpose, _first_subject(due.subject)
        first = rows.setdefault(key, replace(due, subject=key[1]))
        reasons = tuple(dict.fromkeys((*first.reasons, *due.reasons)))
        rows[key] = replace(first, reasons=reasons, urgency=min(first.urgency, due.urgency))
    problems = {replace(one, subject=_first_subject(one.subject)) for one in plan.problems}
    ordered = sorted(rows.values(), key=lambda due: (due.latest, due.purpose, due.subject))
    return replace(plan, due=tuple(ordered), problems=tuple(sorted(problems)), schema=1)


def _first_subject(subject: str) -> str:
    return PATIENT if subject.startswith("procedure:") else subject


def _done(row: Done, procedures: list[Procedure]) -> list[Done]:
    meant = [cut for cut in procedures if cut.on <= row.on]
    return [replace(row, subject=cut.subject) for cut in _of(row, meant)] or [row]


def _closed(row: Closed, procedures: list[Procedure]) -> list[Closed]:
    same_day = [cut for cut in procedures if cut.on == row.anchor]
    # A date that a clinician had set is its own anchor, whichever procedure it was for.
    meant = same_day or [cut for cut in procedures if cut.on <= row.anchor]
    return [replace(row, subject=cut.subject) for cut in _of(row, meant)] or [row]


def _override(row: Override, procedures: list[Procedure]) -> list[Override]:
    """An id of its own for each: the first keeps what the file says."""
    meant = _of(row, [cut for cut in procedures if cut.on <= (row.date or date.max)])
    ids = [row.id, *(f"{row.id}-{cut.id}" for cut in meant[1:])]
    return [replace(row, id=id_, subject=cut.subject) for id_, cut in zip(ids, meant, strict=False)] or [row]


def _of(row: Done | Closed | Override, meant: list[Procedure]) -> list[Procedure]:
    """Nothing where the row is not about a procedure; it then stays as it is, as where none is on record."""
    return meant if row.purpose in AFTER_A_PROCEDURE and row.subject == PATIENT else []
