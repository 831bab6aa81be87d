"""Choose the parts of two photographs to show side by side, so that a millimetre is as long in one as in the other."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lesions.analysis.types import Comparison, Measurement, Point, Registration

Matrix = tuple[tuple[float, float, float], tuple[float, float, float]]


@dataclass(frozen=True)
class Pane:
    """What one pane shows, in pixels of its full picture: `centre`, and the `extent` (width, height) to bring in.

    Both panes have the same size on the screen, so extents in the ratio of the scales make the scales equal.
    """

    centre: Point
    extent: tuple[float, float]
    mm_per_px: float | None


def of(comparison: Comparison) -> tuple[Pane, Pane] | None:
    """The earlier and the later pane, each with its whole picture in; None where nothing tells the two scales.

    By the alignment where there is one: the same skin then lies in the middle of both. Else by both scales.
    """
    earlier, later, laid = comparison.earlier, comparison.later, comparison.registration
    if laid.matrix is not None:
        middle = _common_middle(laid.matrix, earlier, later)
        return _panes(comparison, middle, in_the_later(laid.matrix, middle), _zoom(laid.matrix))
    if earlier.scale is None or later.scale is None or _contradicted(laid):
        return None
    zoom = later.scale.mm_per_px / earlier.scale.mm_per_px
    return _panes(comparison, _middle(earlier), _middle(later), zoom)


def _contradicted(laid: Registration) -> bool:
    return any(reason.code == "scales_disagree" for reason in laid.reasons)


def _panes(comparison: Comparison, one: Point, two: Point, zoom: float) -> tuple[Pane, Pane]:
    """`zoom`: earlier pixels per later pixel."""
    first, second = _reach(comparison.earlier, one), _reach(comparison.later, two)
    width, height = (2 * max(a, zoom * b) for a, b in zip(first, second, strict=True))
    earlier, later = _scales(comparison, zoom)
    return Pane(one, (width, height), earlier), Pane(two, (width / zoom, height / zoom), later)


def _scales(comparison: Comparison, zoom: float) -> tuple[float | None, float | None]:
    """Millimetres per pixel of both, the surer scale carried to the other where the alignment says how."""
    one, two = comparison.earlier.scale, comparison.later.scale
    if one is None or two is None:
        return None if one is None else one.mm_per_px, None if two is None else two.mm_per_px
    if one.rel_uncertainty <= two.rel_uncertainty:
        return one.mm_per_px, one.mm_per_px * zoom
    return two.mm_per_px / zoom, two.mm_per_px


def _reach(picture: Measurement, centre: Point) -> tuple[float, float]:
    """How far the picture goes from there, the farther side of each axis."""
    x, y = centre
    return max(x, picture.width - x), max(y, picture.height - y)


def _middle(picture: Measurement) -> Point:
    return picture.width / 2, picture.height / 2


def _common_middle(matrix: Matrix, earlier: Measurement, later: Measurement) -> Point:
    """Middle of the box round both pictures, the later one laid on the earlier."""
    corners = [(x, y) for x in (0.0, later.width) for y in (0.0, later.height)]
    laid = [tuple(a * x + b * y + t for a, b, t in matrix) for x, y in corners]
    xs, ys = ([0.0, end, *(at[i] for at in laid)] for i, end in ((0, earlier.width), (1, earlier.height)))
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def in_the_later(matrix: Matrix, point: Point) -> Point:
    """Where a pixel of the earlier picture lies in the later one; the matrix takes later pixels to earlier ones."""
    (a, b, tx), (c, d, ty) = matrix
    det, x, y = a * d - b * c, point[0] - tx, point[1] - ty
    return (d * x - b * y) / det, (a * y - c * x) / det


def _zoom(matrix: Matrix) -> float:
    return math.hypot(matrix[0][0], matrix[1][0])
