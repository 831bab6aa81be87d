"""Where a page looks first: the lesion fills most of its pane, and both panes stand at one scale where one is known."""

from __future__ import annotations

from dataclasses import dataclass

from lesions.analysis.compare import panes
from lesions.analysis.compare.panes import Pane
from lesions.analysis.types import Comparison, Measurement, Point

# Of the pane that the lesion takes up at first, in the direction in which it fits more tightly.
SHARE = 0.65


@dataclass(frozen=True)
class Box:
    """The upright box round an outline, in pixels of the full picture."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def centre(self) -> Point:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    @property
    def size(self) -> tuple[float, float]:
        return self.right - self.left, self.bottom - self.top


@dataclass(frozen=True)
class CloseUps:
    """Both panes; `one_scale` is false where nothing tells how long a pixel of one is in the other."""

    earlier: Pane
    later: Pane
    one_scale: bool


def of_one(picture: Measurement) -> Pane:
    """The pane of a picture that stands alone: round its lesion, or the whole picture where none was found.

    Parameters
    ----------
    picture : Measurement

    Returns
    -------
    Pane
        Centre and extent in pixels of the full picture; `mm_per_px` of its scale, None without one.
    """
    scale = picture.scale.mm_per_px if picture.scale else None
    box = _box(picture)
    return Pane(box.centre, (box.size[0] / SHARE, box.size[1] / SHARE), scale)


def of_both(comparison: Comparison) -> CloseUps:
    """The panes of two pictures: at one scale where alignment or both scales tell it, else the lesion equally large.

    With an alignment the same skin lies in the middle of both; without one, each lesion lies in the middle of its own.
    """
    whole = panes.of(comparison)
    if whole is None:
        return CloseUps(_bare(comparison.earlier), _bare(comparison.later), one_scale=False)
    one, two = whole
    zoom = one.extent[0] / two.extent[0]
    first, second = _box(comparison.earlier), _box(comparison.later)
    width, height = (max(a, zoom * b) / SHARE for a, b in zip(first.size, second.size, strict=True))
    earlier, later = first.centre, second.centre
    if comparison.registration.matrix is not None:
        later = panes.in_the_later(comparison.registration.matrix, earlier)
    return CloseUps(
        Pane(earlier, (width, height), one.mm_per_px),
        Pane(later, (width / zoom, height / zoom), two.mm_per_px),
        one_scale=True,
    )


def _bare(picture: Measurement) -> Pane:
    """No bar beside a pane whose sizes can't be compared with the other's."""
    pane = of_one(picture)
    return Pane(pane.centre, pane.extent, None)


def _box(picture: Measurement) -> Box:
    if picture.outline is None or not len(picture.outline.points):
        away = (1 - SHARE) / 2
        width, height = picture.width, picture.height
        return Box(away * width, away * height, (1 - away) * width, (1 - away) * height)
    xs, ys = zip(*picture.outline.points, strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))
