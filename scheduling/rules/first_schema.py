"""FACTS of schema 1: what follows a procedure stood under the patient, one row for however many procedures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .facts import Closed, Done, Facts, Override, Procedure
    from .plan import Due, Plan

AFTER_A_PROCEDURE = frozenset({"result_visit", "wound_check", "suture_removal"})
PATIENT = "patient"


def brought_up(known: Facts) -> Facts:
    """The same facts under schema 2: what was done for “the patient” was done for every procedure before that day."""
    procedures = sorted(known.procedures, key=lambda row: (row.on, row.id))
    return replace(
        known,
        done=tuple(new for row in known.done for new in _done(row, procedures)),
        closed=tuple(new for row in known.closed for new in _closed(row, procedures)),
        overrides=tuple(new for row in known.overrides for new in _override(row, procedures)),
    )


def answered(plan: Plan) -> dict[str, Any]:
    """The answer as schema 1 wrote it: of several procedures the row with the earliest latest day, all the reasons."""
    rows: dict[tuple[str, str], Due] = {}
    for due in plan.due:
        subject = _first_subject(due.subject)
        first = rows.setdefault((due.purpose, subject), replace(due, subject=subject))
        reasons = tuple(dict.fromkeys((*first.reasons, *due.reasons)))
        rows[due.purpose, subject] = replace(first, reasons=reasons, urgency=min(first.urgency, due.urgency))
    problems = {replace(one, subject=_first_subject(one.subject)) for one in plan.problems}
    due_rows = sorted(rows.values(), key=lambda due: (due.latest, due.purpose, due.subject))
    return replace(plan, due=tuple(due_rows), problems=tuple(sorted(problems))).to_json() | {"schema": 1}


def _first_subject(subject: str) -> str:
    return PATIENT if subject.startswith("procedure:") else subject


def _is_of_procedures(row: Done | Closed | Override) -> bool:
    return row.purpose in AFTER_A_PROCEDURE and row.subject == PATIENT


def _done(row: Done, procedures: Iterable[Procedure]) -> Iterator[Done]:
    if not _is_of_procedures(row):
        yield row
        return
    yield from (replace(row, subject=cut.subject) for cut in procedures if cut.on <= row.on)


def _closed(row: Closed, procedures: list[Procedure]) -> Iterator[Closed]:
    if not _is_of_procedures(row):
        yield row
        return
    same_day = [cut for cut in procedures if cut.on == row.anchor]
    # A date that a clinician had set is its own anchor, whichever procedure it was for.
    meant = same_day or [cut for cut in procedures if cut.on <= row.anchor]
    yield from (replace(row, subject=cut.subject) for cut in meant)


def _override(row: Override, procedures: list[Procedure]) -> Iterator[Override]:
    if not _is_of_procedures(row):
        yield row
        return
    before = [cut for cut in procedures if cut.on <= (row.date or date.max)]
    if before:
        yield replace(row, subject=before[-1].subject)
