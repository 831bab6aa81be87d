"""What a report says beside diagnosis and stage, none of it required: number, text, subtype, mitoses, margins."""

import re
from collections.abc import Mapping
from typing import Any, Final

from django.utils.translation import gettext as _

from lesions.models import DiagnosisCode, Margin, Subtype
from lesions.results import report_checks
from lesions.results.report_checks import ResultRefused

MARGINS: Final = ("margin_peripheral", "margin_deep")
WRITTEN: Final = (
    "report_number", "report_text", "subtype", "mitoses",
    "margin_peripheral", "margin_peripheral_mm", "margin_deep", "margin_deep_mm",
)  # fmt: skip
_MEASURED: Final = ("mitoses", "margin_peripheral_mm", "margin_deep_mm")
_MITOSES = re.compile(r"(<|>=)?\d{1,3}(\.\d)?")
_DISTANCE = re.compile(r"(<|>=)?\d{1,3}(\.\d{1,2})?")


def tidy(given: Mapping[str, Any]) -> dict[str, Any]:
    """Write numbers in the one form that is read; the text stays as the laboratory wrote it."""
    return {
        name: report_checks.millimetres(value) if name in _MEASURED else value
        for name, value in given.items()
    }


def check(code: str, said: Mapping[str, Any]) -> None:
    """Refuse what no report can say, and what contradicts itself (ResultRefused)."""
    _check_melanoma(code, said["subtype"], said["mitoses"])
    for margin in MARGINS:
        _check_margin(said[margin], said[f"{margin}_mm"])


def _check_melanoma(code: str, subtype: str, mitoses: str) -> None:
    if subtype and subtype not in Subtype.values:
        raise ResultRefused(_("“%(word)s” is not a known subtype.") % {"word": subtype})
    if subtype and code not in (DiagnosisCode.MELANOMA, DiagnosisCode.MELANOMA_IN_SITU):
        raise ResultRefused(_("A subtype is stated of a melanoma only."))
    if mitoses and not _MITOSES.fullmatch(mitoses):
        raise ResultRefused(_("Write the mitoses per mm² as reported, such as 3 or <1."))
    if mitoses and code != DiagnosisCode.MELANOMA:
        raise ResultRefused(_("Mitoses per mm² are stated of an invasive melanoma only."))


def _check_margin(margin: str, distance: str) -> None:
    if margin and margin not in Margin.values:
        raise ResultRefused(_("“%(word)s” is not a known margin.") % {"word": margin})
    if distance and margin != Margin.CLEAR:
        raise ResultRefused(_("A distance is stated of a clear margin only."))
    if distance and not _DISTANCE.fullmatch(distance):
        raise ResultRefused(_("Write the distance to the margin in millimetres, such as 2.5."))
