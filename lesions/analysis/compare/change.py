"""E: what changed between two pictures laid on each other, in numbers and on the skin."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.compare import registration
from lesions.analysis.compare.rim import Moved
from lesions.analysis.measures import colours, repeatability
from lesions.analysis.picture import binary, contour, light
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.types import Delta, Measure, Measurement, Region, Registration, Scale

_LEAST_DENSITY = 0.10
_NOISE_FLOOR = 0.03
_LEAST_SHARE = 0.004
_NEW_BELOW = 0.02
_THICK = 0.008  # of the equivalent diameter: a rim thinner than this is the noise of two outlines
_THINNEST = 1.0  # working pixels: a rim that the figures speak of is drawn from here on
_HOLE = 9  # working pixels: a smaller hole may be drawn over
_LIGHT_BLUR = 0.6  # a rim one pixel wide is still there after it
_RING_POINTS = 60
ZOOM_ERROR = 0.003  # of the skin's zoom, one standard deviation: tests/bench/pairs.py prints it anew


def deltas(earlier: Measurement, later: Measurement, laid: Registration) -> tuple[Delta, ...]:
    """Subtract every measure that both pictures have; None where either is missing.

    Where the two align, every length of the later picture goes through the alignment: pixels become the earlier
    one's pixels, and millimetres those of the surer of both scales, so that no two figures tell of different zooms.
    Where both scales are known and the pictures do not align, each picture's own millimetres are subtracted; where
    the skin contradicts the scales, lengths have no answer.
    """
    after = {m.name: m for m in later.measures}
    by = _Lengths(earlier, later, laid)
    return tuple(_delta(m, after[m.name], by) for m in earlier.measures if m.name in after)


class _Lengths:
    """What brings lengths of both pictures to one scale, and the error that this adds; None: nothing does."""

    def __init__(self, earlier: Measurement, later: Measurement, laid: Registration) -> None:
        joint = registration.joint_uncertainty(earlier, later)
        self.pixels: tuple[float, float] | None = None
        self.millimetres: tuple[float, float] | None = (1.0, 1.0)
        self.error, self.millimetre_error = 0.0, joint
        if laid.matrix is not None:
            zoom = math.hypot(laid.matrix[0][0], laid.matrix[1][0])
            self.pixels, self.error = (1.0, zoom), ZOOM_ERROR
            if earlier.scale is not None and later.scale is not None:
                self.millimetres = _on_the_surer(earlier.scale, later.scale, zoom)
                self.millimetre_error = min(ZOOM_ERROR, joint)
        elif any(reason.code == "scales_disagree" for reason in laid.reasons):
            self.millimetres = None

    def of(self, unit: str) -> tuple[tuple[float, float] | None, float]:
        """Factors for the earlier and the later value, and the relative error between the two."""
        power = 2 if unit.endswith("²") else 1
        if unit.startswith("px"):
            factors, error = self.pixels, self.error
        elif unit.startswith("mm"):
            factors, error = self.millimetres, self.millimetre_error
        else:
            return (1.0, 1.0), 0.0
        return None if factors is None else (factors[0] ** power, factors[1] ** power), error * power


def _on_the_surer(one: Scale, two: Scale, zoom: float) -> tuple[float, float]:
    """Factors that carry the surer scale to the other picture."""
    carried = one.mm_per_px * zoom
    if one.rel_uncertainty <= two.rel_uncertainty:
        return 1.0, carried / two.mm_per_px
    return two.mm_per_px / carried, 1.0


def _delta(first: Measure, second: Measure, by: _Lengths) -> Delta:
    factors, loose = by.of(first.unit)
    before, now = first.value, second.value
    if before is None or now is None or factors is None:
        return Delta(first.name, first.unit, before, None if factors is None else now, None, None, None, None)
    before, now = before * factors[0], now * factors[1]
    middle = (before + now) / 2
    error = math.hypot(math.sqrt(2) * repeatability.sem(first.name, middle), middle * loose)
    change, least = now - before, 1.96 * error
    a, b, c, d, e = (float(f"{v:.6g}") for v in (before, now, change, error, least))
    return Delta(first.name, first.unit, a, b, c, d, e, abs(change) > least)


def regions(
    first: Prepared,
    second: Prepared,
    earlier: Measurement,
    later: Measurement,
    laid: Registration,
    went: int = 0,
    moved_rim: Moved | None = None,
) -> tuple[Region, ...]:
    """Outline where the skin changed beyond noise and beyond the error of the alignment.

    Parameters
    ----------
    first, second : Prepared
        Earlier and later picture.
    earlier, later : Measurement
        Their outlines.
    laid : Registration
        Empty answer where not aligned or where an outline is missing.
    went : int
        The direction of the area, as the figures say it: what they call grown is drawn wherever the outlines part,
        however faint the new skin of the lesion is, so that figures and map agree.
    moved_rim : Moved, optional
        How far the rim itself moved: where it went outwards beyond its error, what it took in is drawn as well.

    Returns
    -------
    tuple of Region
        In EARLIER pixels; grown, shrunk, new_colour, darker, lighter.
    """
    if laid.matrix is None or earlier.outline is None or later.outline is None:
        return ()
    before = contour.fill(first.from_full(earlier.outline), first.shape)
    ring = np.array(later.outline.points) @ np.array(laid.matrix)[:, :2].T + np.array(laid.matrix)[:, 2]
    after = contour.fill(ring / first.zoom, first.shape)
    if moved_rim is not None and moved_rim.went > 0:
        after, went = after | contour.fill(moved_rim.ring, first.shape), max(went, moved_rim.went)
    moved, known = _later_density(first, second, laid)
    moved = moved * _gain(first.density, moved, before & after & known)
    return _named(first, moved, known, before, after, laid, earlier, went)


def _later_density(first: Prepared, second: Prepared, laid: Registration) -> tuple[Array, Mask]:
    layers = [registration.warped(second, first, laid, second.density[..., c]) for c in range(3)]
    hidden = registration.warped(
        second, first, laid, (second.hairs | ~second.around.usable).astype(np.float32)
    )
    moved = np.stack(layers, axis=-1)
    known = np.isfinite(moved).all(axis=-1) & ~(hidden > 0.1) & ~first.hairs & first.around.usable
    return np.nan_to_num(moved), np.asarray(known, dtype=bool)


def _gain(one: Array, two: Array, where: Mask) -> float:
    """Find the factor that makes the common part equally dense: exposure and contact change it, the lesion seldom."""
    if where.sum() < 100:
        return 1.0
    ratio = float(np.median(one[where].mean(axis=1)) / max(1e-3, float(np.median(two[where].mean(axis=1)))))
    return float(np.clip(ratio, 0.85, 1.18))


def _named(
    first: Prepared,
    moved: Array,
    known: Mask,
    before: Mask,
    after: Mask,
    laid: Registration,
    earlier: Measurement,
    went: int,
) -> tuple[Region, ...]:
    change, hot = _hot(first, moved, known, before | after, laid)
    loose = min((laid.residual_px or 0) / first.zoom, 2.0)  # growth itself looks like a loose fit: bounded
    thick = _THICK * 2 * math.sqrt(before.sum() / math.pi) + 0.3 * loose
    shared = before & after
    fresh = _new_colours(first.density, moved, shared & hot, before, after & known)
    layers: list[tuple[str, Mask, float]] = [
        ("grown", *_parted(after & ~before, known & (change > _LEAST_DENSITY / 2), thick, went > 0)),
        ("shrunk", *_parted(before & ~after, known & (change < -_LEAST_DENSITY / 2), thick, went < 0)),
        ("new_colour", fresh, 1.5),
        ("darker", shared & hot & ~fresh & (change > 0), 1.5),
        ("lighter", shared & hot & ~fresh & (change < 0), 1.5),
    ]
    least = _LEAST_SHARE * before.sum()
    return tuple(
        _region(piece, kind, first, earlier)
        for kind, mask, wide in layers
        for piece in _pieces(mask, least, wide)
    )  # fmt: skip


def _parted(apart: Mask, seen: Mask, thick: float, said: bool) -> tuple[Mask, float]:
    """Find where the two outlines part, and how deep a part must be to count."""
    return (apart, min(thick, _THINNEST)) if said else (apart & seen, thick)


def _hot(first: Prepared, moved: Array, known: Mask, near: Mask, laid: Registration) -> tuple[Array, Mask]:
    """Find the smoothed change of density, and where it goes beyond local noise and misalignment."""
    blur = 2.0 + (laid.residual_px or 0) / first.zoom
    weight = ndimage.gaussian_filter(known.astype(np.float32), blur)
    one, two = light.grey(first.density), light.grey(moved)
    change = ndimage.gaussian_filter(np.where(known, two - one, 0), blur) / np.maximum(weight, 0.05)
    inside = near & known
    noise = max(_NOISE_FLOOR, 1.4826 * float(np.median(np.abs(change[inside]))) if inside.any() else 0)
    slope = ndimage.gaussian_gradient_magnitude(one, blur)
    error = np.hypot(noise, slope * ((laid.residual_px or 0) / first.zoom + 1.0))
    return change, known & (np.abs(change) > np.maximum(_LEAST_DENSITY, 3 * error))


def _new_colours(one: Array, two: Array, hot: Mask, before: Mask, after: Mask) -> Mask:
    """Find changed pixels whose colour name the earlier lesion did not have."""
    fresh = np.zeros_like(hot)
    if not hot.any():
        return fresh
    had = colours.shares(one, before)
    names = colours.classify(two[hot])
    new = [i + 1 for i, name in enumerate(colours.NAMES) if had[name] < _NEW_BELOW]
    fresh[hot] = np.isin(names, new)
    return binary.opened(fresh)


def _pieces(mask: Mask, least: float, thick: float) -> list[Mask]:
    """Find connected pieces that are large enough and somewhere at least `thick` deep."""
    marks, count = ndimage.label(mask)
    if count == 0:
        return []
    numbers = np.arange(1, count + 1)
    sizes = np.bincount(marks.ravel(), minlength=count + 1)[1:]
    depth = ndimage.maximum(ndimage.distance_transform_edt(mask), marks, numbers)
    kept = [marks == n for n in numbers[(sizes >= least) & (depth >= thick)]]
    return [part for piece in kept for part in _simple(piece)]


def _simple(piece: Mask) -> list[Mask]:
    """Cut a piece with a hole, such as growth all round, into quarters: one ring of points cannot draw it."""
    if (ndimage.binary_fill_holes(piece) & ~piece).sum() <= _HOLE:
        return [piece]
    y, x = np.nonzero(piece)
    quarter = (np.arctan2(y - y.mean(), x - x.mean()) / (np.pi / 2) + 2).astype(int) % 4
    parts = []
    for number in range(4):
        part = np.zeros_like(piece)
        part[y[quarter == number], x[quarter == number]] = True
        parts.append(part)
    return [part for part in parts if part.any()]


def _region(piece: Mask, kind: str, first: Prepared, earlier: Measurement) -> Region:
    ring = contour.of_mask(piece, _LIGHT_BLUR)
    full: NDArray[np.float64] = (
        contour.even(ring if ring is not None else _box(piece), _RING_POINTS) * first.zoom
    )
    size = float(piece.sum()) * first.zoom**2
    unit = "px²"
    if earlier.scale is not None:
        size, unit = size * earlier.scale.mm_per_px**2, "mm²"
    points = tuple((round(float(x), 1), round(float(y), 1)) for x, y in full)
    return Region(points, kind, float(f"{size:.4g}"), unit)


def _box(piece: Mask) -> NDArray[np.float64]:
    y, x = np.nonzero(piece)
    left, right, top, bottom = x.min(), x.max() + 1, y.min(), y.max() + 1
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], dtype=np.float64)
