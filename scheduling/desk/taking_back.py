"""Take back a wrong entry of the desk, by who made it, within ten minutes, unless somebody has acted on it."""

from datetime import datetime
from typing import Any

from django.db import models, transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import clock, jobs
from clinic.duties import ledger
from clinic.models import AuditRecord, Duty, Member, Patient, PatientStatus, Visit, change
from clinic.people import patients, visits
from clinic.trail import audit
from clinic.trail.audit import subject_of
from clinic.wording import Words
from scheduling.desk import bookable, booking, contacts, what_next
from scheduling.desk.booking import BookingRefused
from scheduling.desk.contacts import ContactRefused
from scheduling.models import (
    Appointment,
    AppointmentState,
    ContactAttempt,
    Outcome,
    RecallState,
    Resource,
    StruckAttempt,
)
from scheduling.planning import rebook
from scheduling.planning.recall_update import state_on

_OVER = gettext_lazy("Ten minutes are over: what is wrong is corrected by an act of its own.")
_OTHERS = gettext_lazy("Only who entered it takes it back.")
_CANCELLED = (AppointmentState.CANCELLED_BY_PATIENT, AppointmentState.CANCELLED_BY_CLINIC)


def may_take_back(appointment: Appointment, by: Member) -> bool:
    """Say whether the page offers to take an appointment's entry back; `take_back` checks more."""
    return not _why_not(appointment.changed_by_id, appointment.changed_at, by)


def may_strike(attempt: ContactAttempt, by: Member) -> bool:
    return not hasattr(attempt, "struck") and not _why_not(attempt.by_id, attempt.at, by)


def _why_not(entered_by: int | None, at: datetime, by: Member) -> Words:
    if entered_by != by.pk:
        return _OTHERS
    return _OVER if clock.now() - at > ledger.TAKE_BACK else ""


@transaction.atomic
def take_back(*, appointment: Appointment, by: Member, revision: int) -> Appointment:
    """Take back the last entry about an appointment: a booking is freed, a moved one stands where it stood.

    “Missed”, “came” and “cancelled” are booked again, the last while its place is free; what was done is owed again.
    """
    if why := _why_not(appointment.changed_by_id, appointment.changed_at, by):
        raise BookingRefused(why)
    was = appointment.state
    if was != AppointmentState.BOOKED:
        _book_again(appointment, by, revision)
    elif moved := _moved_last(appointment):
        _move_back(appointment, by, revision, moved)
    else:
        _unbook(appointment, by, revision)
    # Whoever takes back what was taken back would end what somebody else entered before.
    change(appointment, seen=appointment.revision, at=clock.now(), changed_by=None)
    audit.record("appointment.take_back", by=by, subject=appointment, patient=appointment.patient, was=was)
    jobs.request_work("replan", appointment.patient_id)
    return appointment


def _moved_last(appointment: Appointment) -> dict[str, Any] | None:
    """Read in the trail where it stood before, if the last entry was that it was moved."""
    entries = AuditRecord.objects.filter(subject=subject_of(appointment), action__startswith="appointment.")
    last = entries.order_by("-pk").first()
    return last.details if last and last.action == "appointment.move" else None


def _move_back(appointment: Appointment, by: Member, revision: int, moved: dict[str, Any]) -> None:
    place = Resource.objects.get(pk=moved["was_in"])
    starts_at = datetime.fromisoformat(moved["was"])
    booking.move(appointment=appointment, resource=place, starts_at=starts_at, by=by, revision=revision)


def _unbook(appointment: Appointment, by: Member, revision: int) -> None:
    booked_at = appointment.changed_at
    # By the clinic: the patient cancelled nothing, and a slip of the desk is nobody's delay.
    fields = {"state": AppointmentState.CANCELLED_BY_CLINIC, "changed_by": by}
    change(appointment, seen=revision, at=clock.now(), where={"state": AppointmentState.BOOKED}, **fields)
    appointment.cells.all().delete()
    rows = list(appointment.recalls.filter(state=RecallState.BOOKED).select_related("patient"))
    for row in rows:
        change(row, seen=row.revision, at=clock.now(), state=state_on(row))
    rebook.settled(appointment, by)
    # The call by which it was booked says so: it stays readable, struck through.
    calls = ContactAttempt.objects.filter(recall__in=rows, by=by, at__gte=booked_at, struck__isnull=True)
    for attempt in calls.filter(outcome=Outcome.BOOKED).select_related("recall__patient"):
        strike(attempt=attempt, by=by)


def _book_again(appointment: Appointment, by: Member, revision: int) -> None:
    done = _take_visit_back(appointment.visit, by)
    rows, was_cancelled = list(appointment.recalls.select_related("patient")), appointment.state in _CANCELLED
    if any(row.state not in (RecallState.PLANNED, RecallState.DUE) for row in rows):
        raise BookingRefused(_("Somebody has already acted on it: what it was booked for is no longer open."))
    if was_cancelled:
        _take_its_place(appointment)
    _withdraw(appointment, by, because=appointment, refused=BookingRefused)
    fields: dict[str, Any] = {"state": AppointmentState.BOOKED, "visit": None, "changed_by": by}
    fields |= {"not_brought": False, "cancelled_because": ""}
    change(appointment, seen=revision, at=clock.now(), **fields)
    for row in rows:
        # What was not done, the wrong entry had opened again, and counted that.
        counted = (row.purpose, row.subject) not in done
        again: dict[str, Any] = {"state": RecallState.BOOKED, "reopened": max(0, row.reopened - counted)}
        change(row, seen=row.revision, at=clock.now(), **again)
        what_next.ask_what_still_stands(row, by)
    rebook.look_at(appointment, by=by)


def _take_its_place(appointment: Appointment) -> None:
    """Take the old place again. Raises SlotTaken or BookingRefused where somebody has it, or nobody can come."""
    patient = Patient.objects.get(pk=appointment.patient_id)
    if patient.status != PatientStatus.ACTIVE:
        raise BookingRefused(_("Nothing is booked: %(status)s.") % {"status": patient.get_status_display()})
    bookable.check_hours(appointment.resource, appointment.starts_at, appointment.minutes)
    booking.take_cells(appointment)


def _take_visit_back(visit: Visit | None, by: Member) -> set[tuple[str, str]]:
    """Strike through the visit of an appointment; returns what it says was done, nothing where there was none."""
    if visit is None or visit.struck_at is not None:
        return set()
    done = set(visit.done.values_list("purpose", "subject"))
    try:
        visits.take_back(visit=visit, by=by, revision=visit.revision)
    except visits.VisitRefused as error:
        raise BookingRefused(str(error)) from error
    return done


@transaction.atomic
def strike(*, attempt: ContactAttempt, by: Member) -> StruckAttempt:
    """Strike an attempt through: it stays readable and counts no more; what it changed is as it was before."""
    if why := _why_not(attempt.by_id, attempt.at, by):
        raise ContactRefused(why)
    if hasattr(attempt, "struck"):
        raise ContactRefused(_("This attempt was struck through already."))
    row = StruckAttempt.objects.create(attempt=attempt, by=by, at=clock.now())
    _withdraw(attempt, by, because=row, refused=ContactRefused)
    what_next.ask_what_still_stands(attempt.recall, by)
    # Only what this attempt ended: a way that was dead before it stays dead.
    for route in contacts.routes_used(attempt).filter(dead_since__isnull=False, changed_at__gte=attempt.at):
        patients.revive_route(route=route, by=by, because=row)
    contacts.look_for_a_way(attempt.recall.patient, by)
    audit.record("contact.strike", by=by, subject=attempt, patient=attempt.recall.patient)
    return row


def _withdraw(
    opened_from: models.Model, by: Member, *, because: models.Model, refused: type[ValueError]
) -> None:
    """Withdraw the duties that an entry opened for others, unless one of them has answered."""
    # What must be rebooked follows from where the appointment stands, and is looked at anew by itself.
    for duty in Duty.objects.filter(opened_from=subject_of(opened_from)).exclude(kind=rebook.KIND):
        if duty.ended_at is None:
            ledger.withdraw(duty, by=by, because=because)
        elif duty.evidence != subject_of(because):
            who = duty.ended_by or _("Somebody")
            raise refused(_("%(who)s has already acted on it.") % {"who": who})
