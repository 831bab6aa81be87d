"""Prepare for pages what was measured: figures with their unit and doubt, and what changed in plain words."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from dateutil.relativedelta import relativedelta
from django.db.models import F, OuterRef, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic import policies
from clinic.models import PolicyKind
from clinic.wording import SPOKEN
from lesions.analysis import wording as core
from lesions.analysis.types import Message
from lesions.limits import flags, wording
from lesions.limits.repeatability import Own
from lesions.measuring import ugly_duckling
from lesions.models import Assessment, Comparison, Image, ImageKind, JobState, Lesion
from lesions.pictures import outlines
from lesions.register import register

HAND_AND_AUTOMATIC = gettext_lazy("hand outline against an automatic one")
# As many as fit one cell of a table on a phone.
MOST_NAMED = 3
_SIZES = ("area", "perimeter", "feret", "rim_area")
_PATCHES = {
    "grown": gettext_lazy("a grown part"),
    "shrunk": gettext_lazy("a shrunk part"),
    "new_colour": gettext_lazy("a patch of new colour"),
    "darker": gettext_lazy("a darker patch"),
    "lighter": gettext_lazy("a lighter patch"),
}
_BEYOND = {
    True: gettext_lazy("more than repeated pictures differ"),
    False: gettext_lazy("within what repeated pictures differ"),
    None: gettext_lazy("not measured"),
}
_COUNTS = ("axes", "colours", "eighths")
_NEARLY = 3  # days by which a gap may miss whole months and is still called so; a choice, no source
_DOUBTFUL = gettext_lazy("in doubt: check the outline first")


@dataclass(frozen=True)
class Figure:
    """A value with unit and uncertainty, None where it was not measured; `doubtful` where its outline is in doubt."""

    name: str
    value: float | None
    unit: str
    uncertainty: float | None
    method: str = ""
    doubtful: bool = False


@dataclass(frozen=True)
class MeasureChange:
    """One line of the comparison; `words` says whether it is more than repeated pictures differ by.

    `key` is the measure, be it in millimetres or in pixels; `name` is how staff read it.
    """

    key: str
    name: str
    earlier: Figure
    later: Figure
    delta: Figure
    smallest: Figure
    words: str
    beyond: bool | None = None


@dataclass(frozen=True)
class LesionLine:
    """A lesion in the list of the patient page; `apart` is None where it was not compared with the others."""

    lesion: Lesion
    place: str
    across: Figure | None
    change: str
    apart: str | None


def figure(result: dict[str, Any] | None, name: str) -> Figure | None:
    """Find the named measure of a result."""
    rows = result["measures"] if result else []
    row = next((row for row in rows if row["name"] == name), None)
    if row is None:
        return None
    found = _figure(name, row["value"], row["unit"], row["uncertainty"], _method(row["method"]))
    return replace(found, doubtful=row.get("doubtful", False))


def _method(given: dict[str, Any]) -> str:
    return core.method(Message(**given), SPOKEN)


def across(assessment: Assessment, comparison: Comparison | None) -> Figure | None:
    """Give the largest diameter of one of two pictures, at the scale that their comparison counts by."""
    own = figure(assessment.result, "feret")
    rows = comparison.result["deltas"] if comparison else []
    row = next((row for row in rows if row["name"] == "feret" and row["delta"] is not None), None)
    if own is None or comparison is None or row is None:
        return own
    return replace(own, value=row["earlier" if assessment == comparison.earlier else "later"])


def in_doubt(*results: dict[str, Any] | None) -> bool:
    """Say whether any of the outlines needs a person's look before its figures say anything."""
    return any(result and result.get("doubt") for result in results)


def mm_per_px(assessment: Assessment) -> float | None:
    """Give the scale that the figures were measured by, which may be a ruler that was found in the picture."""
    if not assessment.result:
        return assessment.image.mm_per_px
    scale = assessment.result["scale"]
    return scale["mm_per_px"] if scale else None


def _figure(
    name: str, value: float | None, unit: str, uncertainty: float | None = None, method: str = ""
) -> Figure:
    """Make the figure of a measure; shares are shown as per cent, and a bare ratio has no unit."""
    if unit == "share":
        value, uncertainty = (None if each is None else each * 100 for each in (value, uncertainty))
    if unit in _COUNTS:
        uncertainty = None  # two axes are two axes
    unit = {"share": "%", "ratio": ""}.get(unit, unit)
    return Figure(wording.measure_name(name), value, unit, uncertainty, method)


def figures(result: dict[str, Any] | None) -> list[Figure]:
    """List every measure with its method; pixels only where there are no millimetres."""
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
    """List what changed in a comparison; pixels only where there are no millimetres. `own`: as flags.py judges them."""
    rows = comparison.result["deltas"] if comparison else []
    known = {row["name"] for row in rows if row["delta"] is not None}
    found = [_change(row, own) for row in rows if not _doubled(row["name"], known)]
    if comparison and in_doubt(comparison.result.get("earlier"), comparison.result.get("later")):
        return [replace(each, words=str(_DOUBTFUL)) for each in found]
    return found


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
    if row["unit"] in _COUNTS and least is not None:
        least = math.floor(least) + 1  # counts change by whole numbers
    return MeasureChange(
        key=row["name"].removesuffix("_px"),
        name=wording.measure_name(row["name"]),
        earlier=of(row["earlier"]),
        later=of(row["later"]),
        delta=of(row["delta"], row["uncertainty"]),
        smallest=of(least),
        words=str(_BEYOND[beyond]),
        beyond=beyond,
    )


def change_words(comparison: Comparison | None, own: Own | None = None) -> str:
    """Say in one cell of a table what changed since the earlier picture, of all that was measured and drawn."""
    if comparison is None:
        return _("first picture")
    if in_doubt(comparison.result.get("earlier"), comparison.result.get("later")):
        return _("outline in doubt")
    if not comparison.aligned:
        return _("pictures do not align")
    return _hands(_changed(changes(comparison, own), _kinds(comparison)), comparison)


def _changed(rows: list[MeasureChange], kinds: set[str]) -> str:
    known = [row for row in rows if row.beyond is not None]
    beyond = [row for row in known if row.beyond]
    # The area's own figure says it better than the patch that drew it.
    said = {"grown", "shrunk"} if any(row.key == "area" for row in beyond) else set()
    patches = [str(words) for kind, words in _PATCHES.items() if kind in kinds - said]
    words = [_moved(row) for row in beyond] + patches
    if len(words) > MOST_NAMED:
        words = [*words[:MOST_NAMED], _("and %(number)s more") % {"number": len(words) - MOST_NAMED}]
    if words:
        return ", ".join(words)
    missing = {row.key: row.name for row in rows if row.beyond is None}
    # “None found” without the area would be read as “has not grown”.
    if not known or "area" in missing:
        return _("not measured")
    if missing:
        return _("none found; not measured: %(names)s") % {"names": ", ".join(missing.values())}
    return _("none found")


def _moved(row: MeasureChange) -> str:
    """Say how far a size went, and of the other measures that they changed."""
    if row.key not in _SIZES or not row.earlier.value or row.delta.value is None:
        return row.name
    return f"{row.name} {row.delta.value / row.earlier.value:+.0%}".replace("-", "−").replace("%", " %")


def _kinds(comparison: Comparison) -> set[str]:
    """Say what the change map shows."""
    return {region["kind"] for region in comparison.result.get("regions", [])}


def _hands(words: str, comparison: Comparison) -> str:
    return f"{words} ({HAND_AND_AUTOMATIC})" if drawn_differently(comparison.result) else words


def drawn_differently(result: dict[str, Any]) -> bool:
    """Say whether a person drew one of the outlines and the program the other."""
    drawn = [(result.get(side) or {}).get("outline") for side in ("earlier", "later")]
    return len({outline["drawn_by"] for outline in drawn if outline}) > 1


def ledger(lesions: Iterable[Lesion]) -> list[LesionLine]:
    """Make the lines of a list of lesions, in four queries however many there are."""
    rows = list(lesions)
    text = policies.texts_in_force(PolicyKind.FLAGS).get(PolicyKind.FLAGS)
    own = flags.own_repeatability(text) if text else None
    found = Assessment.objects.filter(image__lesion__in=rows).exclude(image__kind="overview")
    # An overview shows where lesions lie, and a picture set aside shows another: neither has a figure of this one.
    found = found.exclude(image__set_aside=True).filter(image=_newest_measured())
    by_lesion: dict[int, list[Assessment]] = {}
    for row in found.select_related("image").order_by("pk"):
        by_lesion.setdefault(row.image.lesion_id, []).append(row)
    last = {lesion: shown(each) for lesion, each in by_lesion.items()}
    compared: dict[int, Comparison] = {}
    pairs = Comparison.objects.filter(later__in=[row for row in last.values() if row])
    pairs = pairs.filter(earlier__image__lesion=F("later__image__lesion"), earlier__image__set_aside=False)
    for comparison in pairs.order_by("earlier__image__taken_on", "earlier__image", "earlier"):
        compared[comparison.later_id] = comparison  # the previous picture, by its last outline
    odd = ugly_duckling.reasons(rows, last)
    changed = {key: change_words(each, own) for key, each in compared.items()}
    return [_line(lesion, last.get(lesion.pk), changed, odd.get(lesion.pk)) for lesion in rows]


def _newest_measured() -> Subquery:
    """Find the newest picture of an assessment's lesion: what was measured on the years before it is not read."""
    pictures = Image.objects.filter(
        lesion=OuterRef("image__lesion"), set_aside=False, assessments__isnull=False
    )
    pictures = pictures.exclude(kind=ImageKind.OVERVIEW).order_by("-taken_on", "-pk")
    return Subquery(pictures.values("pk")[:1])


def shown(rows: Iterable[Assessment]) -> Assessment | None:
    """Find the assessment whose figures count for a picture; while none is finished, the last that was asked for."""
    known = sorted(rows, key=lambda row: row.pk)
    done = [row for row in known if row.state == JobState.DONE]
    return outlines.of_last_version(done) or (known[-1] if known else None)


def _line(lesion: Lesion, last: Assessment | None, changed: dict[int, str], odd: str | None) -> LesionLine:
    if last is None:
        change = _("no picture")
    elif last.state != JobState.DONE:
        change = last.get_state_display()
    else:
        change = changed.get(last.pk, change_words(None))
    across = figure(last.result, "feret") if last else None
    return LesionLine(lesion, register.place_words(lesion), across, change, odd)


def gap_words(earlier: date, later: date) -> str:
    """Say how much later a picture is: “3 months later”, “10 days later”; a few days more or less are not said."""
    gap = relativedelta(later + timedelta(days=_NEARLY), earlier)
    if (gap.years or gap.months) and gap.days <= 2 * _NEARLY:
        gap = relativedelta(years=gap.years, months=gap.months)
    else:
        gap = relativedelta(later, earlier)
    words = [
        ngettext("%(count)s year", "%(count)s years", gap.years) % {"count": gap.years} if gap.years else "",
        ngettext("%(count)s month", "%(count)s months", gap.months) % {"count": gap.months}
        if gap.months
        else "",
        ngettext("%(count)s day", "%(count)s days", gap.days) % {"count": gap.days} if gap.days else "",
    ]
    # Two parts at most: after a year nobody asks for the days.
    long = " ".join([each for each in words if each][:2])
    return _("%(long)s later") % {"long": long} if long else _("the same day")


def months_from(day: date, months: int) -> date:
    """Give the day so many months later, or earlier where they are negative."""
    then: date = day + relativedelta(months=months)
    return then
