"""Open the duty to rebook appointments that no longer fit what they were booked for, and end it."""

from datetime import date

from django.db.models import QuerySet
from django.utils import timezone

from clinic.duties import ledger
from clinic.models import Duty, Member, Patient
from clinic.trail.audit import subject_of
from clinic.wording import write_day
from scheduling.models import OPEN, Appointment, AppointmentState, Recall, Urgency

KIND = "rebook"


def look_at(appointment: Appointment, *, by: Member | None = None) -> None:
    """Look at an appointment: rebook where it is late for what it is booked for, or nothing is open."""
    rows = list(appointment.recalls.all())
    still_open = [row for row in rows if row.state in OPEN]
    if rows and not still_open:
        owe(appointment, "what it was booked for is done or closed", by)
    day = timezone.localdate(appointment.starts_at)
    # Only what is late: a visit before its window does no harm, it is an extra one.
    late = [row for row in still_open if row.latest < day]
    if late:
        row = min(late, key=lambda one: one.latest)
        last = f"the last day for the {row.get_purpose_display()} is {write_day(row.latest)}"
        owe(appointment, last, by, urgent=any(one.urgency == Urgency.A for one in late))


def look_at_bookings_of(row: Recall) -> None:
    """Look at the appointments of a recall whose dates moved or that ended: they may stand for nothing now."""
    for visit in _booked().filter(recalls=row):
        look_at(visit)


def not_asked_for(row: Recall) -> None:
    """Have an appointment rebooked whose recall the plan dropped."""
    for visit in _booked().filter(recalls=row):
        owe(visit, f"the plan no longer asks for the {row.get_purpose_display()}", None)


def rebook_of_ended(patient: Patient, by: Member | None) -> None:
    """Have the appointments of an ended record rebooked: nobody is expected on those days."""
    for visit in _booked().filter(patient=patient):
        owe(visit, f"care has ended: {patient.get_status_display()}", by)


def rebook_of_day(day: date, reason: str, by: Member) -> None:
    for visit in _booked().filter(starts_at__date=day):
        owe(visit, f"the clinic is closed on this day: {reason}", by)


def owe(appointment: Appointment, why: str, by: Member | None, *, urgent: bool = False) -> None:
    """Open the duty to rebook, unless a dermatologist has confirmed this reason for this very day."""
    note = f"Booked for {write_day(timezone.localdate(appointment.starts_at))}: {why}."
    # Day and reason stand in the note: another day or another reason is asked about again.
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
    """End the duty to rebook: the appointment was moved, cancelled, or has its outcome."""
    ledger.end_all((KIND,), by=by, evidence=appointment, opened_from=appointment)


def _booked() -> QuerySet[Appointment]:
    return Appointment.objects.filter(state=AppointmentState.BOOKED).select_related("patient")
