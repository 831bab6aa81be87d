"""From a procedure to a result that the patient knows: each waits in a list until it is done."""

import re
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Case, F, IntegerField, QuerySet, Value, When

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, Patient, change
from clinic.people import longer_waits
from clinic.trail import audit
from lesions.models import (
    MALIGNANT,
    Diagnosis,
    DiagnosisCode,
    Grade,
    Lesion,
    LesionState,
    Procedure,
    ProcedureKind,
    Sentinel,
    StageBasis,
)

# The closed lists of FACTS.
NODES = ("N0", "N1a", "N1b", "N1c", "N2a", "N2b", "N2c", "N3a", "N3b", "N3c", "NX")
METASTASES = ("M0", "M1", "M1a", "M1b", "M1c", "M1d")
STAGES = ("0", "IA", "IB", "IIA", "IIB", "IIC", "III", "IIIA", "IIIB", "IIIC", "IIID", "IV")
_THICKNESS = re.compile(r"(>=)?\d{1,3}(\.\d{1,3})?")
_DEPOSIT = re.compile(r"\d{1,3}(\.\d{1,3})?")
_MOVES = {
    ProcedureKind.BIOPSY: LesionState.BIOPSY_TAKEN,
    ProcedureKind.EXCISION: LesionState.REMOVED,
}


class ResultRefused(ValueError):
    """A sentence that says why."""


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
    """A biopsy or excision; from now on its result is waited for. `sutures`: whether some must come out later."""
    require(by, Act.RECORD_RESULTS)
    if kind not in ProcedureKind.values:
        raise ResultRefused("Say which procedure it was.")
    _check_day(on, patient, "A procedure")
    _check_same(patient, lesion)
    row = Procedure.objects.create(
        patient=patient,
        lesion=lesion,
        kind=kind,
        on=on,
        site=site or (lesion.site if lesion else ""),
        sutures=sutures,
        by=by,
        note=note,
        changed_at=clock.now(),
    )
    if lesion and kind in _MOVES:
        found = Lesion.objects.filter(pk=lesion.pk)
        found.update(state=_MOVES[kind], monitoring=None, revision=F("revision") + 1, changed_at=clock.now())
        lesion.refresh_from_db()
    details = {"kind": kind, "on": str(on), "sutures": sutures}
    audit.record("procedure.record", by=by, subject=row, patient=patient, **details)
    return row


@transaction.atomic
def note_sutures(*, procedure: Procedure, by: Member, revision: int, sutures: bool) -> Procedure:
    """Say afterwards whether a procedure left sutures that must come out."""
    require(by, Act.RECORD_RESULTS)
    change(procedure, seen=revision, at=clock.now(), sutures=sutures)
    audit.record("procedure.sutures", by=by, subject=procedure, patient=procedure.patient, sutures=sutures)
    return procedure


@transaction.atomic
def record_diagnosis(
    *,
    patient: Patient,
    by: Member,
    code: str,
    reported_on: date,
    lesion: Lesion | None = None,
    procedure: Procedure | None = None,
    anchor: date | None = None,
    thickness: str = "",
    ulceration: bool | None = None,
    n: str = "",
    m: str = "",
    stage: str = "",
    stage_basis: str = "",
    grade: str = "",
    sentinel: str = "",
    deposit_mm: str = "",
    nodes_cleared: bool | None = None,
    risk_scheme: str = "",
    risk_class: str = "",
) -> Diagnosis:
    """What the report says. What is missing stays missing: the planner makes it a problem for a person."""
    require(by, Act.RECORD_RESULTS)
    lesion = lesion or (procedure.lesion if procedure else None)
    thickness, deposit_mm = _millimetres(thickness), _millimetres(deposit_mm)
    _check_day(reported_on, patient, "A report")
    _check_same(patient, lesion)
    _check_procedure(patient, lesion, procedure, reported_on)
    if anchor is not None:
        _check_day(anchor, patient, "The definitive excision")
    _check_words(code, thickness, n, m, stage, stage_basis)
    _check_nodes(grade, sentinel, deposit_mm)
    row = Diagnosis.objects.create(
        patient=patient,
        lesion=lesion,
        procedure=procedure,
        code=code,
        reported_on=reported_on,
        anchor=anchor,
        thickness=thickness,
        ulceration=ulceration,
        n=n,
        m=m,
        stage=stage,
        stage_basis=stage_basis,
        grade=grade,
        sentinel=sentinel,
        deposit_mm=deposit_mm,
        nodes_cleared=nodes_cleared,
        risk_scheme=risk_scheme,
        risk_class=risk_class,
        by=by,
        changed_at=clock.now(),
    )
    details = {"code": code, "reported_on": str(reported_on)}
    audit.record("diagnosis.record", by=by, subject=row, patient=patient, **details)
    return row


AMENDABLE = (
    "code", "reported_on", "lesion", "procedure", "anchor", "thickness", "ulceration", "n", "m", "stage", "stage_basis",
    "grade", "sentinel", "deposit_mm", "nodes_cleared",
)  # fmt: skip


@transaction.atomic
def amend_diagnosis(
    *, diagnosis: Diagnosis, by: Member, revision: int, signed: str = "", **fields: Any
) -> Diagnosis:
    """Complete or correct a diagnosis in place; the audit trail keeps what stood before. Raises StaleRow.

    Raises MakesLonger where it moves a duty later: `signed` says which days were looked at.
    """
    require(by, Act.RECORD_RESULTS)
    fields |= {name: _millimetres(fields[name]) for name in ("thickness", "deposit_mm") if name in fields}
    now = {name: fields.get(name, getattr(diagnosis, name)) for name in AMENDABLE}
    _check_day(now["reported_on"], diagnosis.patient, "A report")
    if now["anchor"] is not None:
        _check_day(now["anchor"], diagnosis.patient, "The definitive excision")
    _check_same(diagnosis.patient, now["lesion"])
    _check_procedure(diagnosis.patient, now["lesion"], now["procedure"], now["reported_on"])
    _check_words(*(now[name] for name in ("code", "thickness", "n", "m", "stage", "stage_basis")))
    _check_nodes(now["grade"], now["sentinel"], now["deposit_mm"])
    before = {name: getattr(diagnosis, name) for name in AMENDABLE}
    asked = longer_waits.before(diagnosis.patient)
    change(diagnosis, seen=revision, at=clock.now(), **now)
    longer = longer_waits.check(asked, by=by, signed=signed)
    moved = {name: [str(before[name]), str(now[name])] for name in AMENDABLE if before[name] != now[name]}
    audit.record(
        "diagnosis.amend", by=by, subject=diagnosis, patient=diagnosis.patient, changed=moved, **longer
    )
    return diagnosis


@transaction.atomic
def tell(*, diagnosis: Diagnosis, by: Member, on: date | None = None) -> Diagnosis:
    """The patient knows the result. Raises StaleRow when somebody else stamped it first."""
    require(by, Act.TELL_PATIENT)
    on = on or clock.today()
    if not diagnosis.reported_on <= on <= clock.today():
        raise ResultRefused("The patient is told between the day of the report and today.")
    seen = diagnosis.revision
    change(diagnosis, seen=seen, at=clock.now(), where={"told_on": None}, told_on=on, told_by=by)
    audit.record("diagnosis.tell", by=by, subject=diagnosis, patient=diagnosis.patient, on=str(on))
    return diagnosis


def waiting_for_result() -> QuerySet[Procedure]:
    """Biopsies and excisions from which nothing has been reported, the oldest first."""
    specimens = (ProcedureKind.BIOPSY, ProcedureKind.EXCISION)
    taken = Procedure.objects.filter(kind__in=specimens, diagnoses__isnull=True)
    return taken.select_related("patient", "lesion").order_by("on", "pk")


def to_tell() -> QuerySet[Diagnosis]:
    """Results that the patient does not know yet: malignant first, then the oldest."""
    first = Case(When(code__in=MALIGNANT, then=Value(0)), default=Value(1), output_field=IntegerField())
    untold = Diagnosis.objects.filter(told_on__isnull=True)
    return untold.select_related("patient", "lesion").order_by(first, "reported_on", "pk")


def _check_day(day: date, patient: Patient, what: str) -> None:
    if not patient.born <= day <= clock.today():
        raise ResultRefused(f"{what} lies between the patient's birth and today.")


def _check_same(patient: Patient, lesion: Lesion | None) -> None:
    if lesion and lesion.patient_id != patient.pk:
        raise ResultRefused("This lesion belongs to another record.")
    if lesion and lesion.state == LesionState.ERROR:
        raise ResultRefused("This lesion was entered in error.")


def _check_procedure(
    patient: Patient, lesion: Lesion | None, procedure: Procedure | None, reported_on: date
) -> None:
    """A report filed on the wrong specimen is found here, before it moves a plan."""
    if procedure is None:
        return
    if procedure.patient_id != patient.pk:
        raise ResultRefused("This procedure belongs to another record.")
    if lesion and procedure.lesion_id and procedure.lesion_id != lesion.pk:
        raise ResultRefused("The specimen was taken from another lesion of this patient.")
    if reported_on < procedure.on:
        raise ResultRefused("The report cannot be older than the procedure.")


def _millimetres(typed: str) -> str:
    return typed.replace(" ", "").replace(",", ".").replace("≥", ">=")


def _check_nodes(grade: str, sentinel: str, deposit_mm: str) -> None:
    if grade and grade not in Grade.values:
        raise ResultRefused(f"“{grade}” is not a known grade.")
    if sentinel and sentinel not in Sentinel.values:
        raise ResultRefused(f"“{sentinel}” is not a known result of a sentinel node.")
    if deposit_mm and not _DEPOSIT.fullmatch(deposit_mm):
        raise ResultRefused("Write the largest deposit in millimetres, such as 0.6.")


def _check_words(code: str, thickness: str, n: str, m: str, stage: str, stage_basis: str) -> None:
    if code not in DiagnosisCode.values:
        raise ResultRefused("Say which diagnosis the report gives.")
    if thickness and not _THICKNESS.fullmatch(thickness):
        raise ResultRefused("Write the thickness in millimetres as reported, such as 0.80 or >=0.8.")
    lists = (
        ("N", n, NODES),
        ("M", m, METASTASES),
        ("stage", stage, STAGES),
        ("basis", stage_basis, StageBasis.values),
    )
    for name, word, allowed in lists:
        if word and word not in allowed:
            raise ResultRefused(f"“{word}” is not a known {name}.")
