"""Appointments that no longer fit what they were booked for: owed until they are moved, cancelled or confirmed."""

from django.db.models import QuerySet
from django.utils import timezone

from clinic.duties import ledger
from clinic.models import Duty, Member
from clinic.trail.audit import subject_of
from clinic.wording import write_day
from scheduling.models import OPEN, Appointment, AppointmentState, ClosureDay, Recall, Urgency

KIND = "rebook"


def look_at(appointment: Appointment, *, by: Member | None = None) -> None:
    """Owed where it is late for what it was booked for, nothing of that is open any more, or its day is closed."""
    day = timezone.localdate(appointment.starts_at)
    if closed := ClosureDay.objects.filter(day=day).first():
        _owe_closed(appointment, closed, by)
    rows = list(appointment.recalls.all())
    still_open = [row for row in rows if row.state in OPEN]
    if rows and not still_open:
        owe(appointment, "what it was booked for is done or closed", by)
    late = [row for row in still_open if row.latest < day]
    if late:
        row = min(late, key=lambda one: one.latest)
        last = f"the last day for the {row.get_purpose_display()} is {write_day(row.latest)}"
        owe(appointment, last, by, urgent=any(one.urgency == Urgency.A for one in late))


def look_at_bookings_of(row: Recall) -> None:
    """The dates of a recall moved, or it ended: its appointment may stand for nothing now."""
    for visit in _booked().filter(recalls=row):
        look_at(visit)


def not_asked_for(row: Recall) -> None:
    """The plan dropped it, and its appointment still stands."""
    for visit in _booked().filter(recalls=row):
        owe(visit, f"the plan no longer asks for the {row.get_purpose_display()}", None)


def rebook_of_day(closed: ClosureDay, by: Member) -> None:
    for visit in _booked().filter(starts_at__date=closed.day):
        _owe_closed(visit, closed, by)


def _owe_closed(appointment: Appointment, closed: ClosureDay, by: Member | None) -> None:
    owe(appointment, f"the clinic is closed on this day: {closed.reason}", by)


def owe(appointment: Appointment, why: str, by: Member | None, *, urgent: bool = False) -> None:
    """A reason that a dermatologist has answered for this very day is not asked again."""
    note = f"Booked for {write_day(timezone.localdate(appointment.starts_at))}: {why}."
    before = Duty.objects.filter(kind=KIND, opened_from=subject_of(appointment), note=note)
    if before.filter(ended_at__isnull=False).exclude(evidence=subject_of(appointment)).exists():
        return
    ledger.open_duty(
        KIND,
        patient=appointment.patient,
        opened_from=appointment,
        by=by,
        subject=f"appointment:{appointment.pk}",
        urgent=urgent,
        note=note,
    )


def is_owed(appointment: Appointment) -> bool:
    return ledger.open_duties().filter(kind=KIND, opened_from=subject_of(appointment)).exists()


def settled(appointment: Appointment, by: Member) -> None:
    """It was moved, cancelled, or has its outcome: the row itself says so."""
    ledger.end_all((KIND,), by=by, evidence=appointment, opened_from=appointment)


def _booked() -> QuerySet[Appointment]:
    return Appointment.objects.filter(state=AppointmentState.BOOKED).select_related("patient")
