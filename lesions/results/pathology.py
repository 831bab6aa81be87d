"""Record procedures and results, up to the patient who knows: each step is a duty until it is done."""

from datetime import date
from typing import Any, TypedDict, Unpack

from django.db import transaction
from django.db.models import F
from django.forms import model_to_dict
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.duties import steps
from clinic.duties.telling import WhoWasTold
from clinic.models import Member, Patient, StaleRow, change
from clinic.people import longer_waits
from clinic.trail import audit
from lesions.models import (
    Diagnosis,
    DiagnosisVersion,
    Lesion,
    LesionState,
    Procedure,
    ProcedureKind,
)
from lesions.results import report_checks, report_written, results_owed
from lesions.results.report_checks import AlreadyReported, ResultRefused

__all__ = ["AlreadyReported", "ResultRefused"]

_MILLIMETRES = ("thickness", "deposit_mm")
_STAGED = ("code", "thickness", "n", "m", "stage", "stage_basis")
AMENDABLE = (
    "code", "reported_on", "lesion", "procedure", "anchor", "thickness", "ulceration", "n", "m", "stage", "stage_basis",
    "grade", "sentinel", "deposit_mm", "nodes_cleared", "uncertain", "not_known", *report_written.WRITTEN,
)  # fmt: skip
_OTHER_REPORT = ("code", "uncertain")
_MOVES = {
    ProcedureKind.BIOPSY: LesionState.BIOPSY_TAKEN,
    ProcedureKind.EXCISION: LesionState.REMOVED,
}


@transaction.atomic
def record_procedure(
    *,
    patient: Patient,
    by: Member,
    kind: str,
    on: date,
    lesion: Lesion | None = None,
    site: str = "",
    sutures: bool | None = None,
    note: str = "",
) -> Procedure:
    """Record a procedure; from now on its result is waited for. `sutures`: whether some must come out later."""
    require(by, Act.RECORD_PROCEDURES)
    if kind not in ProcedureKind.values:
        raise ResultRefused(_("Say which procedure it was."))
    report_checks.check_day(on, patient, "procedure")
    report_checks.check_same(patient, lesion)
    row: Procedure = Procedure.objects.create(
        patient=patient,
        lesion=lesion,
        kind=kind,
        on=on,
        site=site or (lesion.site if lesion else ""),
        sutures=sutures,
        by=by,
        note=note,
        before=_before(lesion, kind),
        changed_at=clock.now(),
    )
    moved = _MOVES.get(ProcedureKind(kind))
    if lesion and moved:
        found = Lesion.objects.filter(pk=lesion.pk)
        # Without asking for a revision: what was cut is cut, whatever the page showed of the lesion.
        found.update(state=moved, monitoring=None, revision=F("revision") + 1, changed_at=clock.now())
        lesion.refresh_from_db()
    details = {"kind": kind, "on": str(on), "sutures": sutures}
    audit.record("procedure.record", by=by, subject=row, patient=patient, **details)
    # In this transaction: tissue without somebody waiting for its report is how results get lost.
    results_owed.tissue_taken(row, by)
    return row


def _before(lesion: Lesion | None, kind: str) -> dict[str, Any]:
    if lesion is None or kind not in _MOVES:
        return {}
    stands = Lesion.objects.values("state", "monitoring").get(pk=lesion.pk)
    return {**stands, "after": _MOVES[ProcedureKind(kind)]}


@transaction.atomic
def note_sutures(*, procedure: Procedure, by: Member, revision: int, sutures: bool) -> Procedure:
    """Say afterwards whether a procedure left sutures that must come out."""
    require(by, Act.RECORD_PROCEDURES)
    change(procedure, seen=revision, at=clock.now(), sutures=sutures)
    audit.record("procedure.sutures", by=by, subject=procedure, patient=procedure.patient, sutures=sutures)
    return procedure


class Said(TypedDict, total=False):
    """What a report says; whatever it does not say stays missing, and somebody is asked."""

    lesion: Lesion | None
    procedure: Procedure | None
    anchor: date | None
    thickness: str
    ulceration: bool | None
    n: str
    m: str
    stage: str
    stage_basis: str
    grade: str
    sentinel: str
    deposit_mm: str
    nodes_cleared: bool | None
    risk_scheme: str
    risk_class: str
    uncertain: bool
    report_number: str
    report_text: str
    subtype: str
    mitoses: str
    margin_peripheral: str
    margin_peripheral_mm: str
    margin_deep: str
    margin_deep_mm: str


@transaction.atomic
def record_diagnosis(
    *,
    patient: Patient,
    by: Member,
    code: str,
    reported_on: date,
    tells: Member | None = None,
    **said: Unpack[Said],
) -> Diagnosis:
    """Record a report, read by who records it. `tells`: who was named to tell the patient.

    Raises AlreadyReported where one on record is to be amended, ResultRefused where it says what no report can.
    """
    require(by, Act.RECORD_RESULTS)
    procedure = said.get("procedure")
    lesion = said.get("lesion") or (procedure.lesion if procedure else None)
    fields = {**_unsaid(), **said, "code": code, "reported_on": reported_on, "lesion": lesion}
    stated = _checked(patient, fields)
    row: Diagnosis = Diagnosis.objects.create(patient=patient, by=by, changed_at=clock.now(), **stated)
    details = {"code": code, "reported_on": str(reported_on)}
    audit.record("diagnosis.record", by=by, subject=row, patient=patient, **details)
    _keep_version(row, by)
    results_owed.reported(row, by, tells)
    return row


def _unsaid() -> dict[str, Any]:
    empty = Diagnosis()
    return {name: getattr(empty, name) for name in AMENDABLE}


def _checked(patient: Patient, fields: dict[str, Any], but: Diagnosis | None = None) -> dict[str, Any]:
    """Give what a report says in the one form that is read, or refuse it (ResultRefused)."""
    now = fields | {name: report_checks.millimetres(fields[name]) for name in _MILLIMETRES}
    now |= report_written.tidy({name: now[name] for name in report_written.WRITTEN})
    lesion, procedure = now["lesion"], now["procedure"]
    report_checks.check_day(now["reported_on"], patient, "report")
    report_checks.check_same(patient, lesion)
    report_checks.check_procedure(patient, lesion, procedure, now["reported_on"])
    if now["anchor"] is not None:
        report_checks.check_day(now["anchor"], patient, "excision")
    report_checks.check_words(*(now[name] for name in _STAGED))
    report_checks.check_nodes(now["grade"], now["sentinel"], now["deposit_mm"])
    report_written.check(now["code"], now)
    report_checks.check_first(now["code"], lesion, procedure, but=but)
    return now


@transaction.atomic
def amend_diagnosis(
    *,
    diagnosis: Diagnosis,
    by: Member,
    revision: int,
    why: str = "",
    corrected: bool = False,
    report_of: Procedure | None = None,
    signed: str = "",
    **fields: Any,
) -> Diagnosis:
    """Complete or correct a diagnosis in place; every version is kept. Raises StaleRow.

    Raises MakesLonger where it moves a duty later: `signed` says which days were looked at.

    Another code, or `corrected`, is another report: it is read and told anew. `report_of`: the tissue that was
    reported with it, such as that of a wider excision.
    """
    require(by, Act.RECORD_RESULTS)
    now = _amended(diagnosis, fields)
    before = {name: getattr(diagnosis, name) for name in AMENDABLE}
    moved = {name: [str(before[name]), str(now[name])] for name in AMENDABLE if before[name] != now[name]}
    # Also without the tick: a changed diagnosis is another result, whatever it is called.
    corrected = corrected or any(name in moved for name in _OTHER_REPORT)
    if corrected and not why.strip():
        raise ResultRefused(_("Say why the report was corrected, and by whom."))
    report_checks.check_procedure(diagnosis.patient, now["lesion"], report_of)
    # The patient was told another result: the new one has to be told as well.
    untold = {"told_on": None, "told_by": None} if corrected else {}
    asked = longer_waits.before(diagnosis.patient)
    change(diagnosis, seen=revision, at=clock.now(), **now, **untold)
    longer = longer_waits.check(asked, by=by, signed=signed)
    audit.record(
        "diagnosis.amend", by=by, subject=diagnosis, patient=diagnosis.patient, changed=moved, **longer
    )
    version = _keep_version(diagnosis, by, why.strip(), corrected=corrected, report_of=report_of)
    results_owed.amended(diagnosis, version, by, before["procedure"])
    return diagnosis


def _amended(diagnosis: Diagnosis, fields: dict[str, Any]) -> dict[str, Any]:
    """Give every field of a diagnosis as it will stand, checked."""
    stands = {name: fields.get(name, getattr(diagnosis, name)) for name in AMENDABLE}
    now = _checked(diagnosis.patient, stands, but=diagnosis)
    if unknown := set(now["not_known"]) - set(results_owed.WANTED):
        raise ResultRefused(_("“%(word)s” is nothing that is asked for.") % {"word": min(unknown)})
    return now


def _keep_version(row: Diagnosis, by: Member, why: str = "", **more: Any) -> DiagnosisVersion:
    kept = {"values": model_to_dict(row, AMENDABLE), "why": why, "by": by, "at": clock.now()}
    return DiagnosisVersion.objects.create(diagnosis=row, **kept, **more)


def tell(
    *,
    diagnosis: Diagnosis,
    by: Member,
    told: WhoWasTold,
    how: str,
    words: str,
    whom: str = "",
    on: date | None = None,
) -> Diagnosis:
    """Record who was told the result. Raises StaleRow when nothing waits to be told, or DutyRefused."""
    duty = next(iter(results_owed.open_about(diagnosis, ["tell"])), None)
    if duty is None:
        raise StaleRow(diagnosis)
    said: dict[str, Any] = {"told": told, "whom": whom, "how": how, "words": words}
    steps.settle(duty=duty, by=by, revision=duty.revision, outcome="told", on=on, **said)
    diagnosis.refresh_from_db()
    return diagnosis
