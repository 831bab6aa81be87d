"""Book appointments, move them, and say how each ended. Two people can never get the same five minutes."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from clinic import clock, jobs
from clinic.access import Act, require
from clinic.models import Member, Patient, PatientStatus, Visit, change
from clinic.people import visits
from clinic.trail import audit
from clinic.wording import write_day
from scheduling.desk import claims, contacts, lengths, what_next
from scheduling.desk.bookable import BookingRefused, cells, check_hours
from scheduling.models import (
    OPEN,
    Appointment,
    AppointmentState,
    BookedCell,
    Outcome,
    Recall,
    RecallState,
    Resource,
    Use,
)
from scheduling.planning import rebook
from scheduling.recalls import asked, closing

__all__ = ["BookingRefused"]

_CANCELLED = {
    "patient": AppointmentState.CANCELLED_BY_PATIENT,
    "clinic": AppointmentState.CANCELLED_BY_CLINIC,
}


class SlotTaken(BookingRefused):
    pass


@transaction.atomic
def book(
    *,
    recalls: Iterable[Recall],
    resource: Resource,
    starts_at: datetime,
    by: Member,
    minutes: int | None = None,
    revision: int | None = None,
) -> Appointment:
    """Book one appointment for one or more recalls of a patient. Raises SlotTaken, BookingRefused or StaleRow.

    One that is late for what it is booked for is booked all the same, and owed until a dermatologist confirmed it.
    It lasts as long as its purposes together, unless `minutes` says otherwise. `revision` is that of the first recall;
    what is done beside it must have opened by then.
    """
    require(by, Act.BOOK)
    rows = list(recalls)
    patient = _one_patient(rows)
    claims.hold(patient, by)
    minutes = minutes or lengths.minutes_of(rows)
    session = check_hours(resource, starts_at, minutes)
    _check_open_by_then(rows[1:], timezone.localdate(starts_at))
    appointment = Appointment.objects.create(
        patient=patient,
        resource=resource,
        starts_at=starts_at,
        clinician_id=session.clinician_id if session else None,
        minutes=minutes,
        booked_by=by,
        changed_by=by,
        changed_at=clock.now(),
    )
    # The row must exist before its cells, which refer to it; if they are taken, the transaction undoes it.
    appointment.recalls.set(rows)
    take_cells(appointment)
    for row in rows:
        seen = revision if revision is not None and row is rows[0] else row.revision
        open_now = {"state__in": (RecallState.PLANNED, RecallState.DUE)}
        change(row, seen=seen, at=clock.now(), where=open_now, state=RecallState.BOOKED, next_look_on=None)
    asked.reached(rows, by=by, evidence=appointment)
    what = [f"{row.purpose} {row.subject}" for row in rows]
    audit.record(
        "appointment.book", by=by, subject=appointment, patient=patient, at=starts_at.isoformat(), what=what
    )
    rebook.look_at(appointment, by=by)
    return appointment


@transaction.atomic
def book_by_call(
    *, recalls: Iterable[Recall], by: Member, route: str, address: str, told: str = "", **place: Any
) -> Appointment:
    """Book what was agreed in a call or a letter, and log the attempt that reached the patient."""
    rows = list(recalls)
    made = book(recalls=rows, by=by, **place)
    attempt: dict[str, Any] = {"route": route, "address": address, "outcome": Outcome.BOOKED, "told": told}
    contacts.log_attempt(recall=rows[0], by=by, **attempt)
    return made


def elsewhere(name: str) -> Resource:
    """Give the diary of this name that is kept in another program; a room of ours has its free places."""
    row, _made = Resource.objects.get_or_create(name=name.strip(), defaults={"use": Use.ELSEWHERE})
    if row.use != Use.ELSEWHERE:
        raise BookingRefused(_("%(room)s has its diary here: choose one of its free places.") % {"room": row})
    return row


@transaction.atomic
def book_elsewhere(*, recalls: Iterable[Recall], where: str, by: Member, **when: Any) -> Appointment:
    """Enter an appointment that was made in a diary kept in another program."""
    require(by, Act.BOOK)
    return book(recalls=recalls, resource=elsewhere(where), by=by, **when)


def without_a_place() -> Resource:
    return Resource.objects.get_or_create(use=Use.WALK_IN, defaults={"name": Use.WALK_IN.value})[0]


@transaction.atomic
def walk_in(*, recalls: Iterable[Recall], by: Member, revision: int) -> Appointment:
    """Enter somebody who is here without an appointment: it has begun, and its outcome is owed at once."""
    now, room = clock.now().replace(second=0, microsecond=0), without_a_place()
    return book(recalls=recalls, resource=room, starts_at=now, by=by, revision=revision)


@transaction.atomic
def here_already(*, appointment: Appointment, by: Member, revision: int) -> Appointment:
    """Move the appointment of somebody who came before its day to this moment."""
    now, room = clock.now().replace(second=0, microsecond=0), without_a_place()
    return move(appointment=appointment, resource=room, starts_at=now, by=by, revision=revision)


@transaction.atomic
def move(
    *, appointment: Appointment, resource: Resource, starts_at: datetime, by: Member, revision: int
) -> Appointment:
    """Move an appointment to another time, for the same recalls. Raises SlotTaken, BookingRefused or StaleRow."""
    require(by, Act.BOOK)
    # Who was said to be here already stands at a moment that is past: taking that back moves it to its own day.
    if appointment.starts_at <= clock.now() and appointment.resource.use != Use.WALK_IN:
        raise BookingRefused(_("This appointment has begun: say first how it ended."))
    _check_still_wanted(appointment, timezone.localdate(starts_at))
    session = check_hours(resource, starts_at, appointment.minutes)
    was, was_in, still_booked = (
        appointment.starts_at,
        appointment.resource_id,
        {"state": AppointmentState.BOOKED},
    )
    place = {
        "resource": resource,
        "starts_at": starts_at,
        "changed_by": by,
        "clinician_id": session.clinician_id if session else None,
    }
    change(appointment, seen=revision, at=clock.now(), where=still_booked, **place)
    appointment.cells.all().delete()
    take_cells(appointment)
    moved = {"was": was.isoformat(), "was_in": was_in, "at": starts_at.isoformat(), "in": resource.pk}
    audit.record("appointment.move", by=by, subject=appointment, patient=appointment.patient, **moved)
    rebook.settled(appointment, by)
    rebook.look_at(appointment, by=by)
    return appointment


def _check_still_wanted(appointment: Appointment, day: date) -> None:
    patient = Patient.objects.get(pk=appointment.patient_id)
    if patient.status != PatientStatus.ACTIVE:
        raise BookingRefused(_("Nothing is moved: %(status)s.") % {"status": patient.get_status_display()})
    rows = list(appointment.recalls.filter(state__in=OPEN).order_by("earliest", "pk"))
    if not rows:
        raise BookingRefused(_("What it was booked for is finished: cancel it, and book what is due now."))
    _check_open_by_then(rows[1:], day)


def _one_patient(rows: list[Recall]) -> Patient:
    patients = {row.patient_id: row.patient for row in rows}
    if len(patients) != 1:
        raise BookingRefused(_("An appointment is for the recalls of one patient."))
    # Read now: care may have ended since the page was shown.
    patient = Patient.objects.get(pk=next(iter(patients)))
    if patient.status != PatientStatus.ACTIVE:
        raise BookingRefused(_("Nothing is booked: %(status)s.") % {"status": patient.get_status_display()})
    for row in rows:
        if row.state not in (RecallState.PLANNED, RecallState.DUE):
            raise BookingRefused(_("This recall is %(state)s already.") % {"state": row.get_state_display()})
    return patient


def _check_open_by_then(beside: list[Recall], day: date) -> None:
    """Refuse a visit before its window: it is an extra one and completes nothing (docs/domain.md, 5)."""
    for row in beside:
        if day < row.earliest:
            said = _("Too early for the %(what)s: not before %(day)s.")
            about = {"what": row.get_purpose_display(), "day": write_day(row.earliest)}
            raise BookingRefused(said % about)


def take_cells(appointment: Appointment) -> None:
    if appointment.resource.use != Use.ROOM:
        return
    rows = [
        BookedCell(resource_id=appointment.resource_id, starts_at=cell, appointment=appointment)
        for cell in cells(appointment.starts_at, appointment.minutes)
    ]
    try:
        # A savepoint: PostgreSQL answers nothing more in a transaction in which a statement has failed.
        with transaction.atomic():
            BookedCell.objects.bulk_create(rows)
    except IntegrityError as error:
        raise SlotTaken(_("Somebody else has just booked this time.")) from error


@transaction.atomic
def record_attended(
    *, appointment: Appointment, by: Member, revision: int, done: list[tuple[str, str]], note: str = ""
) -> Visit:
    """Record that the patient came: what was done completes recalls, what was not done opens them again."""
    require(by, Act.BOOK)
    day = timezone.localdate(appointment.starts_at)
    if day > clock.today():
        raise BookingRefused(_("This appointment lies on a later day."))
    patient = appointment.patient
    visit = visits.record(patient=patient, by=by, attended_on=day, done=done, note=note)
    _end(appointment, revision, AppointmentState.ATTENDED, by, visit=visit)
    for row in appointment.recalls.select_related("patient"):
        # A visit completes what was done in it, not what was due (docs/domain.md, 5).
        if (row.purpose, row.subject) not in done:
            closing.reopen(row, by=by, why="not_done")
    what = [list(item) for item in done]
    audit.record("appointment.attend", by=by, subject=appointment, patient=patient, done=what)
    return visit


@transaction.atomic
def record_missed(
    *, appointment: Appointment, by: Member, revision: int, not_brought: bool = False
) -> Appointment:
    """Record that the patient did not come: each recall is due again with its original dates, on today's list.

    `not_brought`: a minor, or somebody who depends on others to come; a dermatologist decides at once what follows.
    """
    require(by, Act.BOOK)
    if appointment.starts_at > clock.now():
        raise BookingRefused(_("This appointment lies ahead; it can be cancelled."))
    _end(appointment, revision, AppointmentState.MISSED, by, not_brought=not_brought)
    _open_again(appointment, by, "missed")
    patient = appointment.patient
    audit.record("appointment.miss", by=by, subject=appointment, patient=patient, not_brought=not_brought)
    what_next.ask_after_missed(appointment, by)
    return appointment


@transaction.atomic
def cancel(*, appointment: Appointment, by: Member, revision: int, whose: str, why: str = "") -> Appointment:
    """Cancel an appointment, by the patient or by the clinic: the second never counts as the patient's delay."""
    require(by, Act.BOOK)
    if whose not in _CANCELLED:
        raise BookingRefused(_("Say who cancelled: the patient or the clinic."))
    _end(appointment, revision, _CANCELLED[whose], by, cancelled_because=why.strip())
    appointment.cells.all().delete()
    _open_again(appointment, by, f"cancelled_by_{whose}")
    said = {"whose": whose, "why": why.strip()}
    audit.record("appointment.cancel", by=by, subject=appointment, patient=appointment.patient, **said)
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
    jobs.request_work("replan", appointment.patient_id)
