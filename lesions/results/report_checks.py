"""Check a report: known words, days in order, and that it belongs to this patient, lesion and tissue."""

import re
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from clinic import clock
from clinic.models import Patient
from lesions.models import (
    Diagnosis,
    DiagnosisCode,
    Grade,
    Lesion,
    LesionState,
    Procedure,
    Sentinel,
    StageBasis,
)
from lesions.register import subjects

# The closed lists of FACTS.
NODES = ("N0", "N1a", "N1b", "N1c", "N2a", "N2b", "N2c", "N3a", "N3b", "N3c", "NX")
METASTASES = ("M0", "M1", "M1a", "M1b", "M1c", "M1d")
STAGES = ("0", "IA", "IB", "IIA", "IIB", "IIC", "III", "IIIA", "IIIB", "IIIC", "IIID", "IV")
_THICKNESS = re.compile(r"(>=)?\d{1,3}(\.\d{1,3})?")
_DEPOSIT = re.compile(r"\d{1,3}(\.\d{1,3})?")
_BETWEEN = {
    "report": gettext_noop("A report lies between the patient's birth and today."),
    "excision": gettext_noop("The definitive excision lies between the patient's birth and today."),
    "procedure": gettext_noop("A procedure lies between the patient's birth and today."),
}


class ResultRefused(ValueError):
    """Raised where a procedure or a report cannot be recorded so; the text is the sentence for the page."""


class AlreadyReported(ResultRefused):
    """Raised where `diagnosis` stands on record already: it is amended, not repeated."""

    def __init__(self, diagnosis: Diagnosis) -> None:
        words = subjects.diagnosis_words(diagnosis)
        super().__init__(_("On record already: %(diagnosis)s.") % {"diagnosis": words})
        self.diagnosis = diagnosis


def check_day(day: date, patient: Patient, what: str) -> None:
    """`what` happened on that day: report, excision or procedure."""
    if not patient.born <= day <= clock.today():
        raise ResultRefused(_(_BETWEEN[what]))


def check_same(patient: Patient, lesion: Lesion | None) -> None:
    if lesion and lesion.patient_id != patient.pk:
        raise ResultRefused(_("This lesion belongs to another record."))
    if lesion and lesion.state == LesionState.ERROR:
        raise ResultRefused(_("This lesion was entered in error."))


def check_procedure(
    patient: Patient, lesion: Lesion | None, procedure: Procedure | None, reported_on: date | None = None
) -> None:
    """Check that a report belongs to this procedure: one on the wrong specimen is found before it moves a plan."""
    if procedure is None:
        return
    if procedure.patient_id != patient.pk:
        raise ResultRefused(_("This procedure belongs to another record."))
    if lesion and procedure.lesion_id and procedure.lesion_id != lesion.pk:
        raise ResultRefused(_("The specimen was taken from another lesion of this patient."))
    # An older report is of other tissue: filed here it would end the wait for the right one.
    if reported_on and reported_on < procedure.on:
        raise ResultRefused(_("The report cannot be older than the procedure."))


def check_first(
    code: str, lesion: Lesion | None, procedure: Procedure | None, but: Diagnosis | None = None
) -> None:
    """Check that this is the first: a specimen has one diagnosis, and a lesion one of each code."""
    found = Diagnosis.objects.select_related("lesion")
    found = found.exclude(pk=but.pk) if but else found
    known = found.filter(procedure=procedure).first() if procedure else None
    known = known or (found.filter(lesion=lesion, code=code).first() if lesion else None)
    if known:
        raise AlreadyReported(known)


def millimetres(typed: str) -> str:
    # As it is written on reports of several countries; the core reads one form only.
    return typed.replace(" ", "").replace(",", ".").replace("≥", ">=")


def check_nodes(grade: str, sentinel: str, deposit_mm: str) -> None:
    if grade and grade not in Grade.values:
        raise ResultRefused(_("“%(word)s” is not a known grade.") % {"word": grade})
    if sentinel and sentinel not in Sentinel.values:
        raise ResultRefused(_("“%(word)s” is not a known result of a sentinel node.") % {"word": sentinel})
    if deposit_mm and not _DEPOSIT.fullmatch(deposit_mm):
        raise ResultRefused(_("Write the largest deposit in millimetres, such as 0.6."))


def check_words(code: str, thickness: str, n: str, m: str, stage: str, stage_basis: str) -> None:
    if code not in DiagnosisCode.values:
        raise ResultRefused(_("Say which diagnosis the report gives."))
    if thickness and not _THICKNESS.fullmatch(thickness):
        raise ResultRefused(_("Write the thickness in millimetres as reported, such as 0.80 or >=0.8."))
    lists = (
        (_("“%(word)s” is not a known N."), n, NODES),
        (_("“%(word)s” is not a known M."), m, METASTASES),
        (_("“%(word)s” is not a known stage."), stage, STAGES),
        (_("“%(word)s” is not a known basis."), stage_basis, StageBasis.values),
    )
    for said, word, allowed in lists:
        if word and word not in allowed:
            raise ResultRefused(said % {"word": word})
