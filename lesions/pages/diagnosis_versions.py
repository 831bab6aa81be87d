"""Write the versions of a diagnosis in words: who changed what, when and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lesions.models import Diagnosis, DiagnosisVersion
from lesions.register import subjects

_NAMES = {"n": "lymph nodes", "m": "M", "not_known": "will not be known", "code": "diagnosis"}


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
        f"{_name(name)}: {_word(name, before.get(name), about)}, now {_word(name, value, about)}"
        for name, value in after.items()
        if before.get(name) != value
    )


def _name(name: str) -> str:
    return _NAMES.get(name) or str(Diagnosis._meta.get_field(name).verbose_name)  # type: ignore[union-attr]


def _word(name: str, value: Any, about: Mapping[str, str]) -> str:
    if value in (None, "", []):
        return "not stated"
    if name in ("lesion", "procedure"):
        return about.get(f"{name}:{value}", "another")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_name(one) for one in value)
    choices = dict(Diagnosis._meta.get_field(name).choices or ())  # type: ignore[union-attr,arg-type]
    return str(choices.get(value, value))
