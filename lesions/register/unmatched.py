"""Keep a report that belongs to no specimen on record as it came, until it is filed or returned to the laboratory."""

from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger
from clinic.duties.ledger import DutyRefused
from clinic.models import Duty, Member, Patient, Step, change
from clinic.trail import audit
from lesions.models import UnmatchedReport

_WAITS = {"kind": "report", "ended_at": None, "subject__startswith": "procedure:"}


@transaction.atomic
def take(*, by: Member, laboratory: str, reference: str, name: str, words: str) -> Duty:
    """Keep whose it seems to be and what it says, before anybody looks further."""
    require(by, Act.DO_DUTIES)
    given = {"laboratory": laboratory, "reference": reference, "name": name, "words": words}
    said = {key: value.strip() for key, value in given.items()}
    if not (said["laboratory"] and said["words"]):
        raise DutyRefused(_("Say from which laboratory it came and what it says."))
    row = UnmatchedReport.objects.create(by=by, at=clock.now(), **said)
    audit.record("report.take", by=by, subject=row, laboratory=row.laboratory, reference=row.reference)
    head = ", ".join(part for part in (row.laboratory, row.reference, row.name) if part)
    note = f"{head}: {row.words}"
    # Urgent from the start: nobody knows yet whose cancer it may be.
    return ledger.open_duty("match_report", patient=None, opened_from=row, by=by, urgent=True, note=note)


def settled(step: Step) -> None:
    """File it with a patient, for a dermatologist to read it the same day; returned, the laboratory has it again."""
    if step.outcome != "filed":
        return
    duty, patient = step.duty, _patient_of(step.whom)
    change(duty, seen=duty.revision, at=clock.now(), patient=patient)
    report = UnmatchedReport.objects.get(pk=duty.opened_from.partition(":")[2])
    audit.record("report.file", by=step.by, subject=report, patient=patient, words=step.words)
    about: dict[str, Any] = {
        "subject": _specimen_of(patient),
        "urgent": True,
        "due_on": clock.today(),
        "note": duty.note,
    }
    ledger.open_duty("read", patient=patient, opened_from=step, by=step.by, **about)


def _patient_of(number: str) -> Patient:
    found = Patient.objects.filter(number__iexact=number.strip(), merged_into__isnull=True).first()
    if found is None:
        raise DutyRefused(_("No record has this number."))
    return found


def _specimen_of(patient: Patient) -> str:
    """Find the one whose report is waited for; of several, who reads it records it with the right one."""
    subjects = list(
        Duty.objects.filter(patient=patient, **_WAITS).values_list("subject", flat=True).distinct()
    )
    # Never guessed among several: a report filed with the wrong specimen is believed.
    return subjects[0] if len(subjects) == 1 else "patient"


def struck(step: Step) -> None:
    """Make it nobody's again; what was to be read is withdrawn with the step."""
    duty = Duty.objects.get(pk=step.duty_id)
    if step.outcome == "filed":
        change(duty, seen=duty.revision, at=clock.now(), patient=None)
