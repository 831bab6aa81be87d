"""What was measured, as pages show it: figures with their unit and doubt, and what changed in plain words."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from dateutil.relativedelta import relativedelta

from lesions.limits import flags
from lesions.limits.repeatability import Own
from lesions.measuring import ugly_duckling
from lesions.models import Assessment, Comparison, JobState, Lesion
from lesions.pictures import outlines
from lesions.register import register


@dataclass(frozen=True)
class Figure:
    """A value with unit and uncertainty, None where it was not measured."""

    name: str
    value: float | None
    unit: str
    uncertainty: float | None
    method: str = ""


@dataclass(frozen=True)
class MeasureChange:
    """One line of the comparison; `words` says whether it is more than repeated pictures differ by."""

    name: str
    earlier: Figure
    later: Figure
    delta: Figure
    smallest: Figure
    words: str


@dataclass(frozen=True)
class LesionLine:
    """A lesion in the ledger of the patient page; `apart` is None where it was not held against the others."""

    lesion: Lesion
    place: str
    across: Figure | None
    change: str
    apart: str | None


def figure(result: dict[str, Any] | None, name: str) -> Figure | None:
    """The named measure of a result."""
    rows = result["measures"] if result else []
    row = next((row for row in rows if row["name"] == name), None)
    return _figure(name, row["value"], row["unit"], row["uncertainty"], row["method"]) if row else None


def mm_per_px(assessment: Assessment) -> float | None:
    """The scale that the figures were measured by, which may be a ruler that was found in the picture."""
    if not assessment.result:
        return assessment.image.mm_per_px
    scale = assessment.result["scale"]
    return scale["mm_per_px"] if scale else None


def _figure(
    name: str, value: float | None, unit: str, uncertainty: float | None = None, method: str = ""
) -> Figure:
    """Shares are read as per cent, and a bare ratio has no unit."""
    if unit == "share":
        value, uncertainty = (None if each is None else each * 100 for each in (value, uncertainty))
    unit = {"share": "%", "ratio": ""}.get(unit, unit)
    return Figure(flags.plain_name(name), value, unit, uncertainty, method)


def figures(result: dict[str, Any] | None) -> list[Figure]:
    """Every measure with its method; pixels only where there are no millimetres."""
    rows = result["measures"] if result else []
    known = {row["name"] for row in rows if row["value"] is not None}
    names = [
        row["name"]
        for row in rows
        if row["name"].removesuffix("_px") not in known or not row["name"].endswith("_px")
    ]
    found = (figure(result, name) for name in names)
    return [each for each in found if each is not None]


def changes(comparison: Comparison | None, own: Own | None = None) -> list[MeasureChange]:
    """Every delta of a comparison; pixels only where there are no millimetres. `own`: as flags.py judges them."""
    rows = comparison.result["deltas"] if comparison else []
    known = {row["name"] for row in rows if row["delta"] is not None}
    return [_change(row, own) for row in rows if not _doubled(row["name"], known)]


def _doubled(name: str, known: set[str]) -> bool:
    if name.endswith("_px"):
        return name.removesuffix("_px") in known
    return f"{name}_px" in known and name not in known


def _change(row: dict[str, Any], own: Own | None) -> MeasureChange:
    def of(value: float | None, uncertainty: float | None = None) -> Figure:
        return _figure(row["name"], value, row["unit"], uncertainty)

    least, beyond = row["smallest_detectable"], row["beyond"]
    studied = (
        own.smallest(row["name"], row["earlier"], row["later"]) if own and row["delta"] is not None else None
    )
    if studied is not None:
        least, beyond = studied, abs(row["delta"]) > studied
    words = {True: "more than repeated pictures differ", False: "within what repeated pictures differ"}
    return MeasureChange(
        name=flags.plain_name(row["name"]),
        earlier=of(row["earlier"]),
        later=of(row["later"]),
        delta=of(row["delta"], row["uncertainty"]),
        smallest=of(least),
        words=words.get(beyond, "not measured"),
    )


def change_words(comparison: Comparison | None) -> str:
    """One cell: what became of the area since the earlier picture."""
    if comparison is None:
        return "first picture"
    if not comparison.aligned:
        return "pictures do not align"
    rows = {row["name"]: row for row in comparison.result["deltas"]}
    known = (rows[name] for name in ("area", "area_px") if name in rows and rows[name]["delta"] is not None)
    row = next(known, None)
    if row is None or not row["earlier"]:
        return "not measured"
    if not row["beyond"]:
        return "none found"
    return f"area {row['delta'] / row['earlier']:+.0%}".replace("-", "−").replace("%", " %")


def ledger(lesions: Iterable[Lesion]) -> list[LesionLine]:
    """Lines for a list of lesions in three queries, however many there are."""
    rows = list(lesions)
    found = Assessment.objects.filter(image__lesion__in=rows).exclude(image__kind="overview")
    found = found.exclude(image__set_aside=True)
    by_lesion: dict[int, list[Assessment]] = {}
    for row in found.select_related("image").order_by("image__taken_on", "image", "pk"):
        known = by_lesion.setdefault(row.image.lesion_id, [])
        if known and known[0].image_id != row.image_id:
            known.clear()  # of each lesion only its newest picture
        known.append(row)
    last = {lesion: shown(each) for lesion, each in by_lesion.items()}
    compared: dict[int, Comparison] = {}
    pairs = Comparison.objects.filter(later__in=[row for row in last.values() if row])
    for comparison in pairs.order_by("earlier__image__taken_on", "earlier__image", "earlier"):
        compared[comparison.later_id] = comparison  # the previous picture, by its last outline
    odd = ugly_duckling.reasons(rows, last)
    return [_line(lesion, last.get(lesion.pk), compared, odd.get(lesion.pk)) for lesion in rows]


def shown(rows: Iterable[Assessment]) -> Assessment | None:
    """Of one picture's assessments the one whose figures count; while none is finished, the last that was asked for."""
    known = sorted(rows, key=lambda row: row.pk)
    done = [row for row in known if row.state == JobState.DONE]
    return outlines.of_last_version(done) or (known[-1] if known else None)


def _line(
    lesion: Lesion, last: Assessment | None, compared: dict[int, Comparison], odd: str | None
) -> LesionLine:
    if last is None:
        change = "no picture"
    elif last.state != JobState.DONE:
        change = last.get_state_display()
    else:
        change = change_words(compared.get(last.pk))
    across = figure(last.result, "feret") if last else None
    return LesionLine(lesion, register.place_words(lesion), across, change, odd)


def gap_words(earlier: date, later: date) -> str:
    """ "3 months 2 days later", "the same day"."""
    gap = relativedelta(later, earlier)
    parts = ((gap.years, "year"), (gap.months, "month"), (gap.days, "day"))
    words = [f"{count} {name}{'' if count == 1 else 's'}" for count, name in parts if count]
    return f"{' '.join(words[:2])} later" if words else "the same day"


def months_from(day: date, months: int) -> date:
    return day + relativedelta(months=months)
