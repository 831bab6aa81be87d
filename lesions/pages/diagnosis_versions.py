"""Write the versions of a diagnosis in words: who changed what, when and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lesions.models import Diagnosis, DiagnosisVersion
from lesions.register import subjects

_NAMES = {
    "code": gettext_lazy("diagnosis"),
    "reported_on": gettext_lazy("reported on"),
    "lesion": gettext_lazy("lesion"),
    "procedure": gettext_lazy("procedure"),
    "anchor": gettext_lazy("definitive excision"),
    "thickness": gettext_lazy("thickness in mm, as reported"),
    "ulceration": gettext_lazy("ulceration"),
    "n": gettext_lazy("lymph nodes"),
    "m": gettext_lazy("metastases (M)"),
    "stage": gettext_lazy("stage (AJCC 8)"),
    "stage_basis": gettext_lazy("basis of the stage"),
    "grade": gettext_lazy("grade"),
    "sentinel": gettext_lazy("sentinel node"),
    "deposit_mm": gettext_lazy("largest deposit in mm"),
    "nodes_cleared": gettext_lazy("lymph nodes cleared"),
    "uncertain": gettext_lazy("the report leaves open whether it is malignant"),
    "not_known": gettext_lazy("will not be known"),
    "report_number": gettext_lazy("number of the report"),
    "report_text": gettext_lazy("text of the report"),
    "subtype": gettext_lazy("subtype"),
    "mitoses": gettext_lazy("mitoses per mm²"),
    "margin_peripheral": gettext_lazy("peripheral margin"),
    "margin_peripheral_mm": gettext_lazy("peripheral margin, distance in mm"),
    "margin_deep": gettext_lazy("deep margin"),
    "margin_deep_mm": gettext_lazy("deep margin, distance in mm"),
}


@dataclass(frozen=True)
class VersionWords:
    number: int
    row: DiagnosisVersion
    changed: tuple[str, ...]
    also: str


def in_words(diagnosis: Diagnosis) -> list[VersionWords]:
    """List the versions, the latest first; the first one is as it was recorded."""
    rows = list(diagnosis.versions.select_related("by"))
    keys = {f"{name}:{row.values[name]}" for row in rows for name in ("lesion", "procedure")}
    keys |= {f"procedure:{row.report_of_id}" for row in rows}
    # All versions at once: a lesion is named as it stands today, also in what was written before.
    about = subjects.in_words(keys)
    found, before = [], None
    for number, row in enumerate(rows, 1):
        changed = _changes(before.values, row.values, about) if before else ()
        found.append(VersionWords(number, row, changed, about.get(f"procedure:{row.report_of_id}", "")))
        before = row
    return found[::-1]


def _changes(
    before: Mapping[str, Any], after: Mapping[str, Any], about: Mapping[str, str]
) -> tuple[str, ...]:
    return tuple(
        _("%(name)s: %(before)s, now %(now)s")
        % {
            "name": _NAMES[name],
            "before": _word(name, before.get(name), about),
            "now": _word(name, value, about),
        }
        for name, value in after.items()
        if before.get(name) != value
    )


def _word(name: str, value: Any, about: Mapping[str, str]) -> str:
    if value in (None, "", []):
        return _("not stated")
    if name == "report_text":
        return f"“{value}”"  # several sentences among ours
    if name in ("lesion", "procedure"):
        return about.get(f"{name}:{value}", _("another"))
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, list):
        return ", ".join(str(_NAMES[one]) for one in value)
    choices = dict(Diagnosis._meta.get_field(name).choices or ())  # type: ignore[union-attr]  # fields all
    return str(choices.get(value, value))
