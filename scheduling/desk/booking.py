"""Book appointments: bookable hours, free slots, and how each ended. Two people can never get the same five minutes."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic import clock, jobs
from clinic.access import Act, require
from clinic.models import Member, Patient, PatientStatus, Visit, change
from clinic.people import visits
from clinic.trail import audit
from clinic.wording import write_day
from scheduling.desk import what_next, worklists
from scheduling.models import (
    OPEN,
    Appointment,
    AppointmentState,
    BookedCell,
    ClosureDay,
    Recall,
    RecallState,
    Resource,
    Session,
)
from scheduling.planning import rebook
from scheduling.recalls import closing

CELL = timedelta(minutes=5)
_CANCELLED = {
    "patient": AppointmentState.CANCELLED_BY_PATIENT,
    "clinic": AppointmentState.CANCELLED_BY_CLINIC,
}


class BookingRefused(ValueError):
    """Raised where something cannot be booked or changed so; the text is the sentence for the page."""


class SlotTaken(BookingRefused):
    pass


@dataclass(frozen=True)
class Slot:
    resource: Resource
    starts_at: datetime
    minutes: int


@transaction.atomic
def open_session(
    *, resource: Resource, day: date, opens: time, closes: time, by: Member, slot_minutes: int = 20
) -> Session:
    """Open bookable hours of a room or a person on one local day."""
    require(by, Act.BOOK)
    if opens >= closes:
        raise BookingRefused("The hours end after they begin.")
    if slot_minutes % 5 or not 5 <= slot_minutes <= 240 or opens.minute % 5:
        raise BookingRefused("Slots are whole steps of five minutes, 5 to 240 long.")
    if resource.sessions.filter(day=day, opens__lt=closes, closes__gt=opens).exists():
        raise BookingRefused("These hours overlap others of the same day.")
    row = Session.objects.create(
        resource=resource, day=day, opens=opens, closes=closes, slot_minutes=slot_minutes
    )
    hours = f"{opens:%H:%M} to {closes:%H:%M}"
    audit.record("diary.session", by=by, subject=row, resource=resource.name, day=str(day), hours=hours)
    return row


@transaction.atomic
def close_day(*, day: date, reason: str, by: Member) -> ClosureDay:
    """Close a day: nothing more can be booked, and each booking of it is owed until it is moved; due dates stay."""
    require(by, Act.BOOK)
    row, made = ClosureDay.objects.get_or_create(day=day, defaults={"reason": reason})
    if not made:
        raise BookingRefused(f"The clinic is closed on this day already: {row.reason}.")
    audit.record("diary.close", by=by, subject=row, day=str(day), reason=reason)
    rebook.rebook_of_day(day, reason, by)
    return row


def free_slots(*, since: date, until: date, minutes: int = 20, limit: int = 12) -> list[Slot]:
    """Find the first free slots from now on between two local days, closure days left out."""
    sessions = _open_sessions(since, until)
    taken = _taken(since, until) if sessions else set()
    found: list[Slot] = []
    for day in sorted({row.day for row in sessions}):
        of_day = [slot for row in sessions if row.day == day for slot in _slots(row, minutes, taken)]
        found += sorted(of_day, key=lambda slot: (slot.starts_at, slot.resource.name))
        if len(found) >= limit:
            break
    return found[:limit]


def free_places(*, since: date, until: date) -> dict[date, int]:
    """Count for each local day with bookable hours the slots that are still free from now on, 0 among them."""
    sessions, taken = _open_sessions(since, until), _taken(since, until)
    places: dict[date, int] = {}
    for row in sessions:
        places[row.day] = places.get(row.day, 0) + sum(1 for _ in _slots(row, row.slot_minutes, taken))
    return places


def _open_sessions(since: date, until: date) -> list[Session]:
    closed = set(ClosureDay.objects.filter(day__range=(since, until)).values_list("day", flat=True))
    open_hours = Session.objects.filter(day__range=(since, until), resource__active=True)
    return [row for row in open_hours.select_related("resource") if row.day not in closed]


def _slots(session: Session, minutes: int, taken: set[tuple[int, datetime]]) -> Iterator[Slot]:
    start, closes = _local(session.day, session.opens), _local(session.day, session.closes)
    while start + timedelta(minutes=minutes) <= closes:
        free = not any((session.resource_id, cell) in taken for cell in cells(start, minutes))
        if free and start > clock.now():
            yield Slot(session.resource, start, minutes)
        start += timedelta(minutes=session.slot_minutes)


def _taken(since: date, until: date) -> set[tuple[int, datetime]]:
    first, last = _local(since, time()), _local(until + timedelta(days=1), time())
    return set(
        BookedCell.objects.filter(starts_at__gte=first, starts_at__lt=last).values_list(
            "resource_id", "starts_at"
        )
    )


def _local(day: date, at: time) -> datetime:
    """Turn local day and time into UTC, so that adding minutes is right on the days when the clock changes."""
    local = timezone.make_aware(datetime.combine(day, at))
    return local.astimezone(timezone.get_fixed_timezone(0))


def cells(starts_at: datetime, minutes: int) -> list[datetime]:
    return [starts_at + CELL * index for index in range(-(-minutes // 5))]


@transaction.atomic
def book(
    *,
    recalls: Iterable[Recall],
    resource: Resource,
    starts_at: datetime,
    by: Member,
    minutes: int = 20,
    revision: int | None = None,
) -> Appointment:
    """Book one appointment for one or more recalls of a patient. Raises SlotTaken, BookingRefused or StaleRow.

    One that is late for what it is booked for is booked all the same, and owed until a dermatologist confirmed it.
    `revision` is that of the first recall; what is done beside it must have opened by then.
    """
    require(by, Act.BOOK)
    rows = list(recalls)
    patient = _one_patient(rows)
    _check_hours(resource, starts_at, minutes)
    _check_open_by_then(rows[1:], timezone.localdate(starts_at))
    appointment = Appointment.objects.create(
        patient=patient,
        resource=resource,
        starts_at=starts_at,
        minutes=minutes,
        booked_by=by,
        changed_by=by,
        changed_at=clock.now(),
    )
    # The row must exist before its cells, which refer to it; if they are taken, the transaction undoes it.
    appointment.recalls.set(rows)
    _take_cells(appointment)
    for row in rows:
        seen = revision if revision is not None and row is rows[0] else row.revision
        open_now = {"state__in": (RecallState.PLANNED, RecallState.DUE)}
        change(row, seen=seen, at=clock.now(), where=open_now, state=RecallState.BOOKED, next_look_on=None)
    worklists.finish_for(rows, by=by)
    what = [f"{row.purpose} {row.subject}" for row in rows]
    audit.record(
        "appointment.book", by=by, subject=appointment, patient=patient, at=starts_at.isoformat(), what=what
    )
    rebook.look_at(appointment, by=by)
    return appointment


@transaction.atomic
def move(
    *, appointment: Appointment, resource: Resource, starts_at: datetime, by: Member, revision: int
) -> Appointment:
    """Move an appointment to another time, for the same recalls. Raises SlotTaken, BookingRefused or StaleRow."""
    require(by, Act.BOOK)
    if appointment.starts_at <= clock.now():
        raise BookingRefused("This appointment has begun: say first how it ended.")
    _check_still_wanted(appointment, timezone.localdate(starts_at))
    _check_hours(resource, starts_at, appointment.minutes)
    was, still_booked = appointment.starts_at, {"state": AppointmentState.BOOKED}
    place = {"resource": resource, "starts_at": starts_at, "changed_by": by}
    change(appointment, seen=revision, at=clock.now(), where=still_booked, **place)
    appointment.cells.all().delete()
    _take_cells(appointment)
    moved = {"was": was.isoformat(), "at": starts_at.isoformat()}
    audit.record("appointment.move", by=by, subject=appointment, patient=appointment.patient, **moved)
    rebook.settled(appointment, by)
    rebook.look_at(appointment, by=by)
    return appointment


def _check_still_wanted(appointment: Appointment, day: date) -> None:
    patient = Patient.objects.get(pk=appointment.patient_id)
    if patient.status != PatientStatus.ACTIVE:
        raise BookingRefused(f"Nothing is moved: {patient.get_status_display()}.")
    rows = list(appointment.recalls.filter(state__in=OPEN).order_by("earliest", "pk"))
    if not rows:
        raise BookingRefused("What it was booked for is finished: cancel it, and book what is due now.")
    _check_open_by_then(rows[1:], day)


def _one_patient(rows: list[Recall]) -> Patient:
    patients = {row.patient_id: row.patient for row in rows}
    if len(patients) != 1:
        raise BookingRefused("An appointment is for the recalls of one patient.")
    # Read now: care may have ended since the page was shown.
    patient = Patient.objects.get(pk=next(iter(patients)))
    if patient.status != PatientStatus.ACTIVE:
        raise BookingRefused(f"Nothing is booked: {patient.get_status_display()}.")
    for row in rows:
        if row.state not in (RecallState.PLANNED, RecallState.DUE):
            raise BookingRefused(f"This recall is {row.get_state_display()} already.")
    return patient


def _check_hours(resource: Resource, starts_at: datetime, minutes: int) -> None:
    local = timezone.localtime(starts_at)
    ends = timezone.localtime(starts_at + timedelta(minutes=minutes))
    if starts_at < clock.now():
        raise BookingRefused("An appointment lies ahead.")
    if local.minute % 5 or local.second or local.microsecond or not 5 <= minutes <= 240:
        raise BookingRefused("An appointment begins on a step of five minutes and lasts 5 to 240 minutes.")
    if ClosureDay.objects.filter(day=local.date()).exists():
        raise BookingRefused("The clinic is closed on this day.")
    hours = resource.sessions.filter(day=local.date(), opens__lte=local.time(), closes__gte=ends.time())
    if not resource.active or ends.date() != local.date() or not hours.exists():
        raise BookingRefused("There are no bookable hours at this time.")


def _check_open_by_then(beside: list[Recall], day: date) -> None:
    """Refuse a visit before its window: it is an extra one and completes nothing (docs/domain.md, 5)."""
    for row in beside:
        if day < row.earliest:
            what = row.get_purpose_display()
            raise BookingRefused(f"Too early for the {what}: not before {write_day(row.earliest)}.")


def _take_cells(appointment: Appointment) -> None:
    rows = [
        BookedCell(resource_id=appointment.resource_id, starts_at=cell, appointment=appointment)
        for cell in cells(appointment.starts_at, appointment.minutes)
    ]
    try:
        with transaction.atomic():
            BookedCell.objects.bulk_create(rows)
    except IntegrityError as error:
        raise SlotTaken("Somebody else has just booked this time.") from error


@transaction.atomic
def record_attended(
    *, appointment: Appointment, by: Member, revision: int, done: list[tuple[str, str]], note: str = ""
) -> Visit:
    """Record that the patient came: what was done completes recalls, what was not done opens them again."""
    require(by, Act.BOOK)
    day = timezone.localdate(appointment.starts_at)
    if day > clock.today():
        raise BookingRefused("This appointment lies on a later day.")
    patient = appointment.patient
    visit = visits.record(patient=patient, by=by, attended_on=day, done=done, note=note)
    _end(appointment, revision, AppointmentState.ATTENDED, by, visit=visit)
    for row in appointment.recalls.select_related("patient"):
        if (row.purpose, row.subject) not in done:
            closing.reopen(row, by=by, why="came, but this was not done")
    what = [list(item) for item in done]
    audit.record("appointment.attend", by=by, subject=appointment, patient=patient, done=what)
    return visit


@transaction.atomic
def record_missed(*, appointment: Appointment, by: Member, revision: int) -> Appointment:
    """Record that the patient did not come: each recall is due again with its original dates, on today's list."""
    require(by, Act.BOOK)
    if appointment.starts_at > clock.now():
        raise BookingRefused("This appointment lies ahead; it can be cancelled.")
    _end(appointment, revision, AppointmentState.MISSED, by)
    _open_again(appointment, by, "missed visit")
    audit.record("appointment.miss", by=by, subject=appointment, patient=appointment.patient)
    what_next.ask_after_missed(appointment, by)
    return appointment


@transaction.atomic
def cancel(*, appointment: Appointment, by: Member, revision: int, whose: str) -> Appointment:
    """Cancel an appointment, by the patient or by the clinic: the second never counts as the patient's delay."""
    require(by, Act.BOOK)
    if whose not in _CANCELLED:
        raise BookingRefused("Say who cancelled: the patient or the clinic.")
    _end(appointment, revision, _CANCELLED[whose], by)
    appointment.cells.all().delete()
    _open_again(appointment, by, f"cancelled by the {whose}")
    audit.record("appointment.cancel", by=by, subject=appointment, patient=appointment.patient, whose=whose)
    return appointment


def _end(
    appointment: Appointment, revision: int, state: AppointmentState, by: Member, **more: object
) -> None:
    fields = {"state": state, "changed_by": by, **more}
    change(appointment, seen=revision, at=clock.now(), where={"state": AppointmentState.BOOKED}, **fields)
    rebook.settled(appointment, by)


def _open_again(appointment: Appointment, by: Member, why: str) -> None:
    rows = list(appointment.recalls.select_related("patient"))
    for row in rows:
        closing.reopen(row, by=by, why=why)
    worklists.put_back(rows)
    jobs.request_work("replan", appointment.patient_id)
