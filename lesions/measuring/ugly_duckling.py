"""Say which lesion of a person looks unlike the others, for the patient page; never a verdict."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from clinic.wording import SPOKEN
from lesions.analysis import wording as core
from lesions.analysis.measures import ugly_duckling
from lesions.models import Assessment, ImageKind, JobState, Lesion, LesionState

# What is no longer on the skin is no neighbour that anything could look unlike.
_OFF_CHART = (LesionState.REMOVED, LesionState.GONE, LesionState.ERROR)


def reasons(lesions: Sequence[Lesion], last: dict[int, Assessment | None]) -> dict[int, str]:
    """Say by lesion what sets it apart (empty: nothing), of those that were assessed. Asks the database nothing."""
    rows = {lesion.pk: last.get(lesion.pk) for lesion in lesions if lesion.state not in _OFF_CHART}
    done = {pk: row for pk, row in rows.items() if row and _counts(row)}
    # Figures of two versions differ by how they were measured: held against each other they would invent an odd one.
    newest = max((row.version for row in done.values()), default="")
    known = {pk: _measures(row.result or {}) for pk, row in done.items() if row.version == newest}
    outlined = {pk: values for pk, values in known.items() if values.keys() >= {"darkness", "colours"}}
    found = ugly_duckling.distances_from_others(list(outlined.values()))
    return (
        {}
        if found is None
        else {pk: core.apart(each, SPOKEN) for pk, each in zip(outlined, found, strict=True)}
    )


def note(assessed: Sequence[str]) -> str:
    """Write one sentence under the lesions, from the reasons of those assessed."""
    if not assessed:
        return _(
            "Whether one lesion stands apart from the others is not assessed: "
            "that takes %(least)s lesions outlined in dermoscopic pictures."
        ) % {"least": ugly_duckling.LEAST_LESIONS}
    return _sentence(len(assessed), sum(map(bool, assessed)))


def _sentence(assessed: int, apart: int) -> str:
    if not apart:
        said = _(
            "%(assessed)s lesions held against each other by size, dark share and number of colours: "
            "none set apart."
        )

    else:
        said = _(
            "%(assessed)s lesions held against each other by size, dark share and number of colours: "
            "%(apart)s set apart."
        )
    said = said % {"assessed": assessed, "apart": apart}
    return f"{said} {_('Size counts only where every picture has a scale.')}"


def _counts(row: Assessment) -> bool:
    """Say whether a lesion is compared with the others: one with an outline in doubt is not."""
    doubtful = bool((row.result or {}).get("doubt"))
    return row.state == JobState.DONE and row.image.kind == ImageKind.DERMOSCOPIC and not doubtful


def _measures(result: dict[str, Any]) -> dict[str, float]:
    values = {row["name"]: row["value"] for row in result["measures"]}
    values["darkness"] = ugly_duckling.darkness(values)
    return {name: values[name] for name in ugly_duckling.MEASURES if values.get(name) is not None}
