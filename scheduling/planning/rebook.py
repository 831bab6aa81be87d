"""Open the duty to rebook appointments that no longer fit what they were booked for, and end it."""

from collections.abc import Iterable

from django.db.models import QuerySet
from django.utils import timezone

from clinic.duties import ledger
from clinic.models import Duty, Leave, Member
from clinic.people import leave
from clinic.trail.audit import subject_of
from scheduling.models import OPEN, Appointment, AppointmentState, ClosureDay, Recall, Urgency

KIND = "rebook"
_NO_ANSWER = r"^(scheduling|clinic\.leave)"


def look_at(appointment: Appointment, *, by: Member | None = None) -> None:
    """Look at an appointment: rebook where it is late for what it is for, nothing is open, or its day is closed."""
    day = timezone.localdate(appointment.starts_at)
    if closed := ClosureDay.objects.filter(day=day).first():
        _owe_closed(appointment, closed, by)
    if away := leave.away(day).filter(member=appointment.clinician_id).select_related("member").first():
        _owe_away(appointment, away, by)
    rows = list(appointment.recalls.all())
    still_open = [row for row in rows if row.state in OPEN]
    if rows and not still_open:
        owe(appointment, {"code": "finished"}, by)
    # Only what is late: a visit before its window does no harm, it is an extra one.
    late = [row for row in still_open if row.latest < day]
    if late:
        row = min(late, key=lambda one: one.latest)
        late_for = {"code": "late", "purpose": row.purpose, "latest": str(row.latest)}
        owe(appointment, late_for, by, urgent=any(one.urgency == Urgency.A for one in late))


def look_at_bookings_of(row: Recall) -> None:
    """Look at the appointments of a recall whose dates moved or that ended: they may stand for nothing now."""
    for visit in _booked().filter(recalls=row):
        look_at(visit)


def not_asked_for(row: Recall) -> None:
    """Have an appointment rebooked whose recall the plan dropped."""
    for visit in _booked().filter(recalls=row):
        owe(visit, {"code": "not_asked_for", "purpose": row.purpose}, None)


def rebook_of_day(closed: ClosureDay, by: Member | None) -> None:
    for visit in _booked().filter(starts_at__date=closed.day):
        _owe_closed(visit, closed, by)


def rebook_of_leave(row: Leave, by: Member) -> None:
    for visit in _booked_in(row):
        _owe_away(visit, row, by)


def rebook_without_hours(visits: Iterable[Appointment], by: Member) -> None:
    """Have appointments rebooked whose session was removed."""
    for visit in visits:
        owe(visit, {"code": "no_hours"}, by)


def open_again(closed: ClosureDay, by: Member) -> None:
    """Take a closed day away, and what was owed because of it."""
    visits, because = list(_booked().filter(starts_at__date=closed.day)), subject_of(closed)
    closed.delete()
    _withdraw(visits, "closed", because, by)


def there_after_all(row: Leave, by: Member) -> None:
    """Withdraw what was owed because somebody was to be away."""
    _withdraw(list(_booked_in(row)), "away", subject_of(row), by)


def _withdraw(visits: list[Appointment], code: str, because: str, by: Member) -> None:
    """What is still wrong with an appointment, such as that it is late, is owed for that."""
    rows = ledger.open_duties().filter(kind=KIND, opened_from__in=[subject_of(visit) for visit in visits])
    for duty in rows.filter(because__code=code).select_related("patient"):
        ledger.withdraw(duty, by=by, because=because)
    for visit in visits:
        look_at(visit, by=by)


def _booked_in(row: Leave) -> QuerySet[Appointment]:
    days = (row.first_day, row.last_day)
    return _booked().filter(clinician=row.member_id, starts_at__date__range=days)


def _owe_away(appointment: Appointment, row: Leave, by: Member | None) -> None:
    owe(appointment, {"code": "away", "who": str(row.member)}, by)


def _owe_closed(appointment: Appointment, closed: ClosureDay, by: Member | None) -> None:
    owe(appointment, {"code": "closed", "reason": closed.reason}, by)


def owe(appointment: Appointment, why: dict[str, str], by: Member | None, *, urgent: bool = False) -> None:
    """Open the duty to rebook, unless a dermatologist has confirmed this reason for this very day.

    `why`: a code of `wording.BECAUSE` and its parameters.
    """
    because = {**why, "booked": str(timezone.localdate(appointment.starts_at))}
    # Answered once for this reason and this day, it would come back with every replan and be waved through unread.
    before = Duty.objects.filter(kind=KIND, opened_from=subject_of(appointment), ended_at__isnull=False)
    # A move, or a day that was opened again, answers nothing: only a dermatologist's word or ground does.
    answered = before.exclude(evidence__regex=_NO_ANSWER).values_list("because", flat=True)
    if because in answered:
        return
    ledger.open_duty(
        KIND,
        patient=appointment.patient,
        opened_from=appointment,
        by=by,
        subject=f"appointment:{appointment.pk}",
        urgent=urgent,
        because=because,
    )


def is_owed(appointment: Appointment) -> bool:
    return ledger.open_duties().filter(kind=KIND, opened_from=subject_of(appointment)).exists()


def settled(appointment: Appointment, by: Member) -> None:
    """End the duty to rebook: the appointment was moved, cancelled, or has its outcome."""
    ledger.end_all((KIND,), by=by, evidence=appointment, opened_from=appointment)


def _booked() -> QuerySet[Appointment]:
    return Appointment.objects.filter(state=AppointmentState.BOOKED).select_related("patient")
