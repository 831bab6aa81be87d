"""List who should have been seen and was not: past the latest day, neither completed nor closed with a ground."""

import csv
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from io import StringIO

from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from clinic.models import Patient, PatientStatus
from clinic.wording import write_day
from scheduling.models import (
    OPEN,
    Appointment,
    AppointmentState,
    ClosureDay,
    ContactAttempt,
    Outcome,
    Recall,
    Session,
    WorkItem,
)
from scheduling.planning import ladder
from scheduling.recalls import wording
from scheduling.rules.plan import lateness

REASONS = {
    "booked": "booked, too late",
    "no_outcome": "nobody wrote down whether they came",
    "proposed": "closing was proposed",
    "missed_visit": "missed the visit",
    "cancelled_by_us": "cancelled by us",
    "cancelled_by_patient": "cancelled by the patient",
    "reached": "reached, not booked",
    "not_reached": "not reached",
    "no_slot": "no bookable hours in the window",
    "not_called": "not yet called",
}
_SPOKE = (Outcome.SPOKE, Outcome.SPOKE_AUTHORISED, Outcome.ASKS_LATER, Outcome.DECLINED)
_RISKY = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class MissedRow:
    patient: Patient
    recall: Recall
    days_late: int
    reason: str
    why: str
    owner: str


def rows(today: date) -> list[MissedRow]:
    """List the rows, the oldest first, each with why it is late and whose it is."""
    found = list(late(today).select_related("patient").prefetch_related(*_details(today)))
    bookable = _bookable_days(found)
    return [_row(recall, today, bookable) for recall in found]


def late(today: date) -> QuerySet[Recall]:
    rows = Recall.objects.filter(state__in=OPEN, latest__lt=today)
    rows = rows.filter(patient__status=PatientStatus.ACTIVE, patient__merged_into__isnull=True)
    return rows.order_by("latest", "urgency", "pk")


def counts(found: Iterable[MissedRow]) -> list[tuple[str, str, int]]:
    """Count by reason, the commonest first; each number opens exactly these patients."""
    tally = Counter(row.reason for row in found)
    return [(reason, REASONS[reason], count) for reason, count in tally.most_common()]


def people(found: Iterable[MissedRow]) -> int:
    return len({row.patient.pk for row in found})


def as_csv(found: Sequence[MissedRow]) -> str:
    """Write the list for a spreadsheet; a cell that it would take for a formula is quoted with an apostrophe."""
    out = StringIO()
    writer = csv.writer(out)
    head = [
        "number",
        "family name",
        "given name",
        "born",
        "what for",
        "latest day",
        "days late",
        "why",
        "owner",
    ]
    writer.writerow(head)
    places = wording.subjects([row.recall for row in found])
    for row in found:
        patient, recall = row.patient, row.recall
        cells = [
            patient.number,
            patient.family_name,
            patient.given_name,
            patient.born,
            wording.what_for(recall, places),
            recall.latest,
            row.days_late,
            row.why,
            row.owner,
        ]
        writer.writerow([_safe(cell) for cell in cells])
    return out.getvalue()


def _safe(cell: object) -> str:
    text = str(cell)
    return f"'{text}" if text.startswith(_RISKY) else text


def _details(today: date) -> list[Prefetch]:
    claimed = WorkItem.objects.filter(day=today, state="claimed").select_related("claimed_by")
    return [
        Prefetch("attempts", ContactAttempt.objects.filter(struck__isnull=True).order_by("at", "pk")),
        Prefetch("appointments", Appointment.objects.order_by("starts_at", "pk")),
        Prefetch("work_items", claimed, to_attr="claims"),
    ]


def _bookable_days(found: list[Recall]) -> set[date]:
    if not found:
        return set()
    span = (min(recall.earliest for recall in found), max(recall.latest for recall in found))
    closed = ClosureDay.objects.filter(day__range=span).values("day")
    return set(Session.objects.filter(day__range=span).exclude(day__in=closed).values_list("day", flat=True))


def _row(recall: Recall, today: date, bookable: set[date]) -> MissedRow:
    reason, why = _why(recall, today, bookable)
    late_by = lateness.days_late(recall.latest, today)
    return MissedRow(recall.patient, recall, late_by, reason, why, _owner(recall))


def _why(recall: Recall, today: date, bookable: set[date]) -> tuple[str, str]:
    by_visit = _why_by_visit(recall, today)
    if recall.proposed_ground and not (by_visit and by_visit[0] in ("booked", "no_outcome")):
        return "proposed", f"closing proposed: {recall.get_proposed_ground_display()}"
    return by_visit or _why_by_contact(recall, bookable)


def _why_by_visit(recall: Recall, today: date) -> tuple[str, str] | None:
    visits = list(recall.appointments.all())
    if not visits:
        return None
    last, on = visits[-1], write_day(timezone.localdate(visits[-1].starts_at))
    if last.state == AppointmentState.BOOKED:
        past = timezone.localdate(last.starts_at) < today
        return ("no_outcome", f"no outcome of the visit on {on}") if past else ("booked", f"booked for {on}")
    said = {
        AppointmentState.MISSED: ("missed_visit", f"missed the visit on {on}"),
        AppointmentState.CANCELLED_BY_CLINIC: ("cancelled_by_us", f"cancelled by us, {on}"),
        AppointmentState.CANCELLED_BY_PATIENT: (
            "cancelled_by_patient",
            f"cancelled by the patient, {on}",
        ),
    }
    return said.get(AppointmentState(last.state))


def _why_by_contact(recall: Recall, bookable: set[date]) -> tuple[str, str]:
    counted = [attempt for attempt in recall.attempts.all() if attempt.counts]
    no_slot = not any(recall.earliest <= day <= recall.latest for day in bookable)
    spoke = [attempt for attempt in counted if attempt.outcome in _SPOKE]
    if no_slot and (spoke or not counted):
        return "no_slot", "no bookable hours in its window"
    if spoke:
        return "reached", f"reached on {write_day(timezone.localdate(spoke[-1].at))}, not booked"
    if counted:
        return "not_reached", f"not reached: {tried(counted)}"
    return "not_called", "not yet called"


def tried(attempts: Iterable[ContactAttempt]) -> str:
    """2 calls, 1 letter"""
    tally = Counter(
        {"phone": "call", "email": "message", "post": "letter"}[attempt.route] for attempt in attempts
    )
    return ", ".join(f"{count} {word}{'s' if count > 1 else ''}" for word, count in tally.items())


def _owner(recall: Recall) -> str:
    """Say whose work it is: always a role's, and by name while somebody works on it."""
    if recall.claims:  # type: ignore[attr-defined]
        return str(recall.claims[0].claimed_by)  # type: ignore[attr-defined]
    counted = sum(attempt.counts for attempt in recall.attempts.all())
    exhausted = counted >= ladder.ladder_of(recall.urgency).attempts
    return "dermatologist" if exhausted or recall.proposed_ground else "desk"
