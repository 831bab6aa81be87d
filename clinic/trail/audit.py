"""The audit trail: no audit record, no action; both are in the same transaction."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import models, transaction
from django.db.models import F, QuerySet

from clinic import clock
from clinic.models import AuditRecord, Member, Patient, ReadRecord
from clinic.signals import facts_changed


@dataclass(frozen=True)
class Action:
    words: str
    changes_facts: bool


# Every action of the program. `changes_facts` bumps the patient's facts revision, and so makes the plan stale.
ACTIONS: dict[str, Action] = {
    "patient.register": Action("registered the patient", True),
    "patient.amend": Action("amended the patient's details", False),
    "patient.correct_birth": Action("corrected the date of birth", True),
    "patient.end_care": Action("ended the patient's care", True),
    "patient.resume_care": Action("resumed the patient's care", True),
    "patient.add_route": Action("added a contact route", False),
    "patient.kill_route": Action("marked a contact route as dead", False),
    "risk.assess": Action("recorded a risk assessment", True),
    "visit.record": Action("recorded a visit", True),
    "lesion.add": Action("registered a lesion", True),
    "lesion.amend": Action("amended a lesion", True),
    "lesion.sign": Action("noted an urgent sign", True),
    "lesion.examine": Action("examined a lesion in person", True),
    "image.add": Action("added a picture", True),
    "image.refuse": Action("refused a file that is no picture", False),
    "image.scale": Action("set the scale of a picture by hand", False),
    "image.settle": Action("settled a refused file", False),
    "assessment.queue": Action("asked for a picture to be measured", False),
    "assessment.done": Action("measured a picture", False),
    "assessment.fail": Action("could not measure a picture", False),
    "outline.draw": Action("drew the outline of a lesion", False),
    "review.open": Action("put a lesion before a dermatologist", False),
    "signoff.record": Action("signed a decision", True),
    "signoff.addendum": Action("added to a signed decision", False),
    "procedure.record": Action("recorded a procedure", True),
    "procedure.sutures": Action("said whether a procedure left sutures", True),
    "diagnosis.record": Action("recorded a diagnosis", True),
    "diagnosis.tell": Action("told the patient the result", True),
    "checklist.fill": Action("filled in a checklist", False),
    "plan.make": Action("made the plan", False),
    "recall.open": Action("opened a recall", False),
    "recall.due": Action("put a recall on the list", False),
    "recall.move": Action("moved the dates of a recall", False),
    "recall.complete": Action("completed a recall", False),
    "recall.reopen": Action("re-opened a recall", False),
    "recall.propose_closing": Action("proposed to close a recall", False),
    "recall.close": Action("closed a recall", True),
    "series.discharge": Action("discharged from a series of checks", True),
    "diagnosis.amend": Action("amended a diagnosis", True),
    "recall.supersede": Action("dropped a recall that the plan no longer asks for", False),
    "recall.accept_change": Action("accepted changed dates with a rule set", False),
    "recall.unreachable": Action("set a next look for a recall", False),
    "override.set": Action("set another interval or date in place of the rules", True),
    "override.end": Action("ended an interval or date set in place of the rules", True),
    "work.claim": Action("claimed work", False),
    "work.hand_back": Action("handed work back", False),
    "work.done": Action("finished work", False),
    "contact.attempt": Action("logged a contact attempt", False),
    "appointment.book": Action("booked an appointment", False),
    "appointment.attend": Action("recorded that the patient came", False),
    "appointment.miss": Action("recorded that the patient did not come", False),
    "appointment.cancel": Action("cancelled an appointment", False),
    "diary.session": Action("opened bookable hours", False),
    "diary.close": Action("closed the clinic for a day", False),
    "policy.draft": Action("drafted a policy", False),
    "policy.propose": Action("proposed a policy", False),
    "policy.approve": Action("approved a policy", False),
    "staff.add": Action("added a member of staff", False),
    "staff.amend": Action("changed a member of staff", False),
    "failsafe.count": Action("counted where everybody is", False),
}


def record(
    action: str, *, by: Member | None, subject: models.Model, patient: Patient | None = None, **details: Any
) -> AuditRecord:
    """Write one audit record inside the caller's transaction; `by=None` is the program itself."""
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError(f"audit record {action!r} outside a transaction")
    changes = ACTIONS[action].changes_facts
    revision = _bump(patient) if changes and patient is not None else None
    row = AuditRecord.objects.create(
        at=clock.now(),
        by=by,
        action=action,
        patient=patient,
        subject=subject_of(subject),
        facts_revision=revision,
        details=details,
    )
    if patient is not None and changes:
        patient_id = patient.pk
        transaction.on_commit(lambda: _announce(patient_id), robust=True)
    return row


@dataclass(frozen=True)
class Entry:
    """One record of what the program itself did, to be written together with others."""

    action: str
    subject: models.Model
    patient: Patient
    details: dict[str, Any]


def record_all(entries: Iterable[Entry]) -> None:
    """Write many records in one statement; only for what the program does and what changes no facts."""
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("audit records outside a transaction")
    rows = []
    for entry in entries:
        if ACTIONS[entry.action].changes_facts:
            raise RuntimeError(f"audit record {entry.action!r} changes facts: it is written alone")
        row = AuditRecord(at=clock.now(), action=entry.action, patient=entry.patient, details=entry.details)
        row.subject = subject_of(entry.subject)
        rows.append(row)
    AuditRecord.objects.bulk_create(rows)


def subject_of(row: models.Model) -> str:
    """How a record names what it is about: clinic.policy:7"""
    return f"{row._meta.label_lower}:{row.pk}"


def _bump(patient: Patient) -> int:
    """Guarded by the database: the update is also the patient's lock until the transaction ends."""
    Patient.objects.filter(pk=patient.pk).update(facts_revision=F("facts_revision") + 1)
    patient.facts_revision = Patient.objects.values_list("facts_revision", flat=True).get(pk=patient.pk)
    return patient.facts_revision


def _announce(patient_id: int) -> None:
    facts_changed.send_robust(sender=Patient, patient_id=patient_id)


def read(patient: Patient, *, by: Member, page: str) -> None:
    """Record that a member opened a page of this patient."""
    ReadRecord.objects.create(at=clock.now(), by=by, patient=patient, page=page)


def trail(patient: Patient) -> QuerySet[AuditRecord]:
    return AuditRecord.objects.filter(patient=patient).select_related("by")


def words(action: str) -> str:
    return ACTIONS[action].words if action in ACTIONS else action
