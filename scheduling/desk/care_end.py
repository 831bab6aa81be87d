"""Close what the desk has open when care ends: appointments are freed, recalls closed; resuming care reopens them."""

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.models import CareEnd, Member, Patient, PatientStatus, Step, change
from clinic.people.ending import Keeper, evidence_of
from clinic.trail import audit
from clinic.wording import Words
from scheduling.desk import booking
from scheduling.models import OPEN, Appointment, AppointmentState, Ground, Recall, RecallState
from scheduling.recalls import wording

_GROUND = {
    PatientStatus.DECEASED: Ground.DECEASED,
    PatientStatus.TRANSFERRED: Ground.TRANSFERRED,
    PatientStatus.MOVED: Ground.MOVED,
    PatientStatus.DISCHARGED: Ground.DISCHARGE,
}


def closes(patient: Patient) -> list[Words]:
    """Say what the end of care closes at once: appointments to come, and recalls."""
    recalls = list(_recalls(patient))
    places = wording.subjects(recalls)
    return [
        *(wording.appointment_words(row) for row in _ahead(patient)),
        *(wording.what_for(row, places) for row in recalls),
    ]


def outlives(patient: Patient) -> list[Words]:
    """Say what is still owed after the end of care: how past appointments ended."""
    past = _booked(patient).filter(starts_at__lte=clock.now())
    return [
        _("how the %(appointment)s ended") % {"appointment": wording.appointment_words(row)} for row in past
    ]


def _recalls(patient: Patient) -> QuerySet[Recall]:
    return Recall.objects.filter(patient=patient, state__in=OPEN).select_related("patient").order_by("pk")


def _booked(patient: Patient) -> QuerySet[Appointment]:
    return Appointment.objects.filter(patient=patient, state=AppointmentState.BOOKED).order_by("starts_at")


def _ahead(patient: Patient) -> QuerySet[Appointment]:
    return _booked(patient).filter(starts_at__gt=clock.now())


def close(end: CareEnd) -> None:
    """Free the appointments to come and close the recalls, on the ground on which care ends."""
    for visit in _ahead(end.patient):
        # By the clinic: the patient did not cancel, and a missed or cancelled visit would count against somebody who
        # died.
        booking.cancel(appointment=visit, by=end.by, revision=visit.revision, whose="clinic")
    for recall in _recalls(end.patient):
        _close(recall, end)


def _close(recall: Recall, end: CareEnd) -> None:
    ground = _GROUND[PatientStatus(end.ends_as)]
    said: dict[str, Any] = {"ground": ground, "ground_note": end.ground, "evidence": evidence_of(end)}
    ended: dict[str, Any] = {"state": RecallState.CLOSED, "ended_on": clock.today(), "closed_by": end.by}
    change(recall, seen=recall.revision, at=clock.now(), **said, **ended)
    audit.record(
        "recall.close", by=end.by, subject=recall, patient=end.patient, ground=ground, note=end.ground
    )


def _hand_over(patient: Patient, step: Step) -> None:
    """Hand over nothing: recalls and appointments were closed when the care began to end."""


def reopen(end: CareEnd, by: Member) -> None:
    """Plan each recall again that the end of care closed, unless another of its kind is open."""
    closed = Recall.objects.filter(patient=end.patient, evidence=evidence_of(end), state=RecallState.CLOSED)
    for recall in closed.select_related("patient"):
        about = {"purpose": recall.purpose, "subject": recall.subject}
        if not Recall.objects.filter(patient=end.patient, state__in=OPEN, **about).exists():
            _open_again(recall, by)


def _open_again(recall: Recall, by: Member) -> None:
    said: dict[str, Any] = {
        "ground": "",
        "ground_note": "",
        "evidence": "",
        "ended_on": None,
        "closed_by": None,
    }
    change(recall, seen=recall.revision, at=clock.now(), state=RecallState.PLANNED, **said)
    audit.record("recall.reopen", by=by, subject=recall, patient=recall.patient, why="care_resumed")


KEEPER = Keeper(closes, outlives, close, _hand_over, reopen)
