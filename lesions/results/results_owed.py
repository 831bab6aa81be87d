"""Open and end the duties that follow from tissue and from a report."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic.access import Act, may
from clinic.duties import ledger
from clinic.models import Duty, Member, Patient
from lesions.models import (
    MALIGNANT,
    Decision,
    Diagnosis,
    DiagnosisCode,
    DiagnosisVersion,
    Flag,
    Lesion,
    Procedure,
    ProcedureKind,
)
from lesions.results.report_checks import ResultRefused
from lesions.review import owed

_OF_TISSUE = ("send_specimen", "confirm_specimen", "report")
_AFTER_INVASIVE = ("margins", "node", "meeting")
WANTED: Final[Mapping[str, Any]] = {
    "n": gettext_lazy("lymph nodes"),
    "thickness": gettext_lazy("thickness"),
    "ulceration": gettext_lazy("ulceration"),
    "anchor": gettext_lazy("day of the definitive excision"),
}
# Only what a rule of follow-up asks for: a benign naevus has no thickness to miss.
_WANTED_OF: Final[Mapping[str, tuple[str, ...]]] = {
    DiagnosisCode.MELANOMA: tuple(WANTED),
    DiagnosisCode.MELANOMA_IN_SITU: ("anchor",),
}


def tissue_taken(cut: Procedure, by: Member) -> None:
    """Open the duties of tissue that was taken: it is sent to the laboratory, and its report is waited for."""
    if cut.kind in (ProcedureKind.BIOPSY, ProcedureKind.EXCISION):
        for kind in ("send_specimen", "report"):
            _open(kind, cut, cut, by, urgent=_was_decided(cut))


def _was_decided(cut: Procedure) -> bool:
    """Say whether the last signature asked for it: what was decided is urgent, tissue taken besides is not."""
    # The last one before the knife: a signature that came after it did not ask for it.
    signed = owed.deciding().filter(lesion=cut.lesion_id, signed_on__lte=cut.on).order_by("pk").last()
    return signed is not None and signed.decision in (Decision.BIOPSY, Decision.EXCISE)


def reported(row: Diagnosis, by: Member, tells: Member | None = None) -> None:
    """Open the duty to tell the patient, by whom the reader names: who records a report has read it."""
    if tells is not None and not may(tells, Act.TELL_PATIENT):
        raise ResultRefused(_("%(name)s may not tell a patient the result.") % {"name": tells})
    report_came(row.procedure, row, by)
    # “Already removed elsewhere” waits for its report under the lesion, because no procedure here names it.
    if row.lesion_id:
        ledger.end_all(["report"], by=by, evidence=row, subject=f"lesion:{row.lesion_id}")
    _open("tell", row, row, by, urgent=is_urgent(row), owner=tells)
    ask_what_follows(row, row, by)
    ask_whether_they_agree(row, row, by)
    complete(row, row, by)


def report_came(cut: Procedure | None, evidence: models.Model, by: Member) -> None:
    """End the duties before a report: it shows that the tissue was sent and arrived, and who records it has read it."""
    if cut is not None:
        ledger.end_all((*_OF_TISSUE, "read"), by=by, evidence=evidence, subject=subject_of(cut))


def amended(row: Diagnosis, version: DiagnosisVersion, by: Member, was_from: Procedure | None) -> None:
    for cut in (row.procedure, version.report_of):
        report_came(cut, version, by)
    if version.report_of is not None:
        _open("tell", version.report_of, version, by, urgent=is_urgent(row))
    # The report was moved to other tissue: the first piece waits again, or nobody would miss its report.
    if was_from is not None and was_from != row.procedure and not was_from.diagnoses.exists():
        _open("report", was_from, was_from, by, urgent=_was_decided(was_from))
    complete(row, version, by)
    # Whether picture and report agree was asked because the report said benign, which it says no more.
    if row.code != DiagnosisCode.BENIGN:
        ledger.end_all(
            ["agree"], by=by, evidence=version, patient=row.patient, subject=f"lesion:{row.lesion_id}"
        )
    if version.corrected:
        ledger.end_all(["read", "tell"], by=by, evidence=version, subject=subject_of(row))
        _open("read", row, version, by, urgent=is_urgent(row))


def complete(row: Diagnosis, because: Diagnosis | DiagnosisVersion, by: Member) -> None:
    """Open the duty to complete a diagnosis while something is wanting that may become known, or end it."""
    asked = open_about(row, ["complete"])
    if not wanting(row):
        ledger.end_all(["complete"], by=by, evidence=because, subject=subject_of(row))
    elif not asked:
        _open("complete", row, because, by)


def wanting(row: Diagnosis) -> list[str]:
    """List the fields of a melanoma that nobody has stated yet, less those that will not be known."""
    fields = _WANTED_OF.get(row.code, ())
    return [name for name in fields if getattr(row, name) in ("", None) and name not in row.not_known]


def ask_what_follows(row: Diagnosis, because: models.Model, by: Member) -> None:
    """Open the three decisions after an invasive melanoma: margins, sentinel lymph node and meeting."""
    if row.code == DiagnosisCode.MELANOMA:
        asked = {duty.kind for duty in open_about(row, _AFTER_INVASIVE)}
        for kind in _AFTER_INVASIVE:
            if kind not in asked:
                _open(kind, row, because, by)


def ask_whether_they_agree(row: Diagnosis, because: models.Model, by: Member) -> None:
    """Ask about a benign report of what looked otherwise, picture against report (clinic-pathological correlation)."""
    if row.code != DiagnosisCode.BENIGN or row.lesion is None or not _looked_otherwise(row.lesion):
        return
    about: dict[str, Any] = {"patient": row.patient, "subject": f"lesion:{row.lesion_id}"}
    ledger.open_duty("agree", opened_from=because, by=by, because={"code": "looked_otherwise"}, **about)


def _looked_otherwise(lesion: Lesion) -> bool:
    """Say whether a limit was passed or a sign noted; that a picture could not be judged is no strong flag."""
    return (
        Flag.objects.filter(review__lesion=lesion, limit__isnull=False).exists()
        or lesion.urgent_signs.exists()
    )


def is_urgent(row: Diagnosis) -> bool:
    return row.code in MALIGNANT or row.uncertain


def waits_for_report(patient: Patient) -> list[int]:
    """Find the procedures whose tissue has no report yet."""
    rows = ledger.open_duties(patient).filter(kind="report", subject__startswith="procedure:")
    return [int(key.partition(":")[2]) for key in rows.values_list("subject", flat=True)]


def open_about(row: Diagnosis | Procedure, kinds: Iterable[str]) -> list[Duty]:
    rows = ledger.open_duties().filter(patient=row.patient_id, subject=subject_of(row))
    return list(rows.filter(kind__in=list(kinds)))


def subject_of(row: Diagnosis | Procedure) -> str:
    """Give the words by which duties name a procedure or a diagnosis: procedure:7"""
    return f"{row._meta.model_name}:{row.pk}"


def _open(
    kind: str,
    about: Diagnosis | Procedure,
    because: models.Model,
    by: Member,
    *,
    urgent: bool = False,
    owner: Member | None = None,
) -> None:
    ledger.open_duty(
        kind,
        patient=about.patient,
        opened_from=because,
        by=by,
        subject=subject_of(about),
        urgent=urgent,
        owner=owner,
    )
