"""Write in words what a duty or a visit may be about: lesion:12, diagnosis:3, procedure:7."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any, Final

from django.db.models import Manager, QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.models import Patient
from clinic.wording import write_day as day_words
from lesions.models import Diagnosis, DiagnosisCode, Lesion, Procedure, ProcedureKind
from lesions.register import bodymap, register, wording

# After half a year a procedure is offered only where something of it is still open.
RECENT = timedelta(days=183)


def of_patient(patient: Patient) -> list[tuple[str, str]]:
    """List key and words of what a visit is likely about: watched lesions, recent procedures, tumours."""
    cut = patient.procedures.filter(on__gte=clock.today() - RECENT).select_related("lesion")
    found = patient.diagnoses.exclude(code=DiagnosisCode.BENIGN).select_related("lesion")
    return [
        *((f"lesion:{row.pk}", lesion_words(row)) for row in register.watched(patient)),
        *((f"procedure:{row.pk}", procedure_words(row)) for row in cut),
        *((f"diagnosis:{row.pk}", diagnosis_words(row)) for row in found),
    ]


def in_words(keys: Iterable[str]) -> dict[str, str]:
    """Give the words of these keys, with one query for each kind; a key that is only supposed has none."""
    by_kind: dict[str, set[str]] = defaultdict(set)
    for key in keys:
        kind, _, pk = key.partition(":")
        # A plan that only supposes something names subjects that are in no table.
        if pk.isdecimal():
            by_kind[kind].add(pk)
    return {
        f"{kind}:{row.pk}": write(row)
        for kind, (rows, write) in _WRITTEN.items()
        if kind in by_kind
        for row in rows.filter(pk__in=by_kind[kind])
    }


def lesion_words(row: Lesion) -> str:
    """Write a lesion: lesion 2, LEFT upper arm, front"""
    return wording.lesion_at(row.label, register.place_words(row))


def procedure_words(row: Procedure) -> str:
    """Write a procedure: excision of 3 Mar 2026, lesion 2, LEFT upper arm, front"""
    said = _("%(kind)s of %(day)s") % {"kind": ProcedureKind(row.kind).label, "day": day_words(row.on)}
    return ", ".join([said, *_place(row.lesion, row.site)])


def diagnosis_words(row: Diagnosis) -> str:
    """Write a diagnosis: melanoma, invasive, of 3 Mar 2026, lesion 2, LEFT upper arm, front"""
    day = row.anchor or row.reported_on
    said = _("%(diagnosis)s, of %(day)s") % {
        "diagnosis": DiagnosisCode(row.code).label,
        "day": day_words(day),
    }
    return ", ".join([said, *_place(row.lesion, "")])


def key_of(row: Any) -> str:
    """The key of a procedure or a diagnosis."""
    return f"{'procedure' if isinstance(row, Procedure) else 'diagnosis'}:{row.pk}"


def words_of(row: Any) -> str:
    """Write a procedure or a diagnosis."""
    return procedure_words(row) if isinstance(row, Procedure) else diagnosis_words(row)


def _place(lesion: Lesion | None, site: str) -> list[str]:
    if lesion:
        return [lesion_words(lesion)]
    return [wording.site_name(site)] if site in bodymap.CODES else []


def _few(rows: Manager[Any], *columns: str) -> QuerySet[Any]:
    """Ask only for the columns that the words need: a list asks for many rows."""
    place = ("lesion__label", "lesion__site", "lesion__side")
    return rows.select_related("lesion").only(*columns, *place)


_WRITTEN: Final[dict[str, tuple[QuerySet[Any], Callable[[Any], str]]]] = {
    "lesion": (Lesion.objects.all(), lesion_words),
    # Also what was struck through: an old duty must still say what it was about.
    "procedure": (_few(Procedure.everything, "kind", "on", "site"), procedure_words),
    "diagnosis": (_few(Diagnosis.everything, "code", "anchor", "reported_on"), diagnosis_words),
}
