"""Prepare two pictures of one lesion for a page: where each pane looks, what is not shown, and why."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from clinic.wording import SPOKEN
from lesions.analysis import types
from lesions.analysis import wording as core
from lesions.analysis.compare import close_up, panes
from lesions.analysis.compare.close_up import CloseUps
from lesions.analysis.compare.panes import Pane
from lesions.measuring.figures import drawn_differently
from lesions.models import Assessment, Comparison


@dataclass(frozen=True)
class SideBySide:
    """Both panes at one scale, None where nothing tells it; sentences on what the page cannot show."""

    earlier: Pane | None = None
    later: Pane | None = None
    notes: tuple[str, ...] = ()
    close: CloseUps | None = None


def side_by_side(comparison: Comparison | None) -> SideBySide:
    """Prepare both panes of a comparison and what is said of them; empty where there is nothing to compare."""
    if comparison is None:
        return SideBySide()
    found = types.Comparison.from_json(comparison.result)
    both = panes.of(found)
    earlier, later = both or (None, None)
    return SideBySide(earlier, later, tuple(_notes(found, both is not None)), close_up.of_both(found))


def alone(assessment: Assessment) -> Pane | None:
    """Say where the pane of a picture alone looks first; None where nothing was measured."""
    result = assessment.result
    return close_up.of_one(types.Measurement.from_json(result)) if result else None


def _notes(found: types.Comparison, one_scale: bool) -> Iterator[str]:
    yield from _of_map(found) if found.registration.aligned else _unaligned(found)
    if not one_scale:
        yield _("Side by side, the two are not at one scale: equal lengths may look unequal.")
    if drawn_differently(found.to_json()):
        yield _(
            "The figures are those of a hand outline against an automatic one: "
            "part of a change may be who drew it."
        )


def _unaligned(found: types.Comparison) -> Iterator[str]:
    reasons = [core.fill(reason, SPOKEN) for reason in found.registration.reasons]
    yield " ".join(
        [
            _("These two pictures could not be laid on each other."),
            *reasons,
            _("Overlay and change map are not shown."),
        ]
    )
    known = {row.name for row in found.deltas if row.delta is not None}
    if "area" in known:
        yield _("Sizes are compared by the scale of each picture alone.")
    else:
        yield _("No change of size is given.")


def _of_map(found: types.Comparison) -> Iterator[str]:
    """Explain where the figures and the map of changes would seem to say different things."""
    went, kinds = types.area_went(found.deltas), {region.kind for region in found.regions}
    stayed = [doubt for doubt in found.later.doubt if doubt.code == "rim_unmoved"]
    # Nothing is wrong then, but a reader who sees a figure and an empty map stops trusting both.
    if stayed:
        yield from (core.doubt(doubt, SPOKEN) for doubt in stayed)
    elif went and not kinds & {"grown", "shrunk"}:
        yield _("The area changed by a rim too thin to be drawn on the change map.")
    if not went and "grown" in kinds:
        yield _grown_within(any(row.name == "rim_area" and row.beyond for row in found.deltas))


def _grown_within(rim_moved: bool) -> str:
    if rim_moved:
        return _("Grown parts are drawn where the rim moved; the two outlines alone do not show it.")
    return _("Grown parts are drawn; the area as a whole lies within what repeated pictures differ by.")
