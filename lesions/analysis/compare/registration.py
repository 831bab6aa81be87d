"""Laying the later picture on the earlier: a similarity guessed by outline or feature, refined on density."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.compare import guesses, overlay
from lesions.analysis.compare.overlay import Similarity, View
from lesions.analysis.picture import contour, resample
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.types import Doubt, Measurement, Registration

STRUCTURE_LEAST = 0.6  # different lesions of open pictures reached 0.50, mirrored ones 0.53
RESIDUAL_MOST = 3.0  # working pixels
SCALE_MOST = 0.03
_SIDE = 384
_STATED_MAY_LOSE = 0.25

_UNLIKE = Doubt("unlike", "The two pictures share too little structure to be laid on each other.")
_MIRRORED = Doubt("mirrored", "The later picture looks mirrored; check how it was exported.")
_LOOSE = Doubt("loose", "The two pictures fit only loosely; the skin may be stretched or seen at an angle.")


@dataclass(frozen=True)
class _Fit:
    """A similarity from earlier to later view pixels, and how well fine structure agrees under it (-1..1)."""

    way: Similarity
    structure: float


def register(
    first: Prepared, second: Prepared, earlier: Measurement, later: Measurement, *, features: bool = True
) -> Registration:
    """Find the similarity that takes LATER pixels to EARLIER pixels.

    Parameters
    ----------
    first, second : Prepared
        The earlier and the later picture.
    earlier, later : Measurement
        Their outlines give a first guess, their scales a check.
    features : bool
        False skips the search by features (for trials of the outline's guess alone).

    Returns
    -------
    Registration
        `aligned` False with reasons where fine structure does not agree; never a guess.
    """
    one, two = _view(first), _view(second)
    ring_one, ring_two = _ring(first, one, earlier), _ring(second, two, later)
    where = _region(one, ring_one)
    fit = _best(one, two, ring_one, ring_two, where, features)
    if fit is None or fit.structure < STRUCTURE_LEAST:
        flipped = View(two.image[:, ::-1].copy(), two.usable[:, ::-1].copy(), two.zoom)
        ring_flipped = None if ring_two is None else _flip(ring_two, two.image.shape[1])
        mirrored = _best(one, flipped, ring_one, ring_flipped, where, features)
        seen = mirrored is not None and mirrored.structure >= STRUCTURE_LEAST
        return Registration(False, None, None, seen, (_MIRRORED if seen else _UNLIKE,))
    fit = _at_stated_zoom(one, two, fit, where, earlier, later)
    residual = overlay.residual(one, two, fit.way, where)
    if residual > RESIDUAL_MOST:
        return Registration(False, None, round(residual * one.zoom, 2), False, (_LOOSE,))
    matrix = _later_to_earlier(fit.way, one.zoom, two.zoom)
    reasons = _scale_reasons(matrix, earlier, later)
    rows = tuple(tuple(float(f"{v:.8g}") for v in row) for row in matrix)
    return Registration(True, rows, round(residual * one.zoom, 2), False, reasons)  # type: ignore[arg-type]


def _view(ready: Prepared) -> View:
    """Green and blue density at about `_SIDE` pixels, hair already closed."""
    factor = max(1.0, max(ready.shape) / _SIDE)
    small = resample.shrunk((ready.density[..., 1] + ready.density[..., 2]) * np.float32(0.5), factor)
    hidden = resample.shrunk((ready.hairs | ~ready.around.usable).astype(np.float32), factor)
    return View(np.clip(small, -0.6, 2.5), np.asarray(hidden < 0.01), ready.zoom * factor)


def _ring(ready: Prepared, view: View, measurement: Measurement) -> Ring | None:
    return (
        None if measurement.outline is None else ready.from_full(measurement.outline) * ready.zoom / view.zoom
    )


def _flip(ring: Ring, width: int) -> Ring:
    return np.stack([width - ring[:, 0], ring[:, 1]], axis=1)


def _region(view: View, ring: Ring | None) -> Mask:
    """The lesion with a rim of skin: what must agree. Without an outline, all that is usable."""
    if ring is None:
        return view.usable
    mask = contour.fill(ring, (view.image.shape[0], view.image.shape[1]))
    reach = max(6, int(0.5 * np.sqrt(mask.sum() / np.pi)))
    return np.asarray((ndimage.distance_transform_edt(~mask) < reach) & view.usable, dtype=bool)


def _best(
    one: View, two: View, ring_one: Ring | None, ring_two: Ring | None, where: Mask, features: bool
) -> _Fit | None:
    """Refine the guesses in order of cost and stop at the first that agrees well."""
    best: _Fit | None = None
    for guess in guesses.all_of(one, two, ring_one, ring_two, features=features):
        way = overlay.refine(one, two, guess, where)
        if way is None:
            continue
        fit = _Fit(way, overlay.structure(one, two, way, where))
        if best is None or fit.structure > best.structure:
            best = fit
        if best.structure > 0.7:
            break
    return best


def _at_stated_zoom(
    one: View, two: View, fit: _Fit, where: Mask, earlier: Measurement, later: Measurement
) -> _Fit:
    """Prefer the zoom that the two scales state: a free one would swallow growth. Keep the free one if it is wrong."""
    if earlier.scale is None or later.scale is None:
        return fit
    zoom = earlier.scale.mm_per_px * one.zoom / (later.scale.mm_per_px * two.zoom)
    ys, xs = np.nonzero(where)
    start = fit.way.with_zoom(zoom, float(xs.mean()), float(ys.mean()))
    way = overlay.refine(one, two, start, where, zoom)
    if way is None:
        return fit
    stated = _Fit(way, overlay.structure(one, two, way, where))
    return stated if stated.structure > fit.structure - _STATED_MAY_LOSE else fit


def _later_to_earlier(way: Similarity, zoom_one: float, zoom_two: float) -> NDArray[np.float64]:
    """Invert earlier-to-later view pixels, and go to full pixels on both sides."""
    forward = np.array([[way.a, -way.b, way.tx], [way.b, way.a, way.ty], [0, 0, 1]])
    back = np.linalg.inv(forward)
    return np.asarray(
        (np.diag([zoom_one, zoom_one, 1]) @ back @ np.diag([1 / zoom_two, 1 / zoom_two, 1]))[:2]
    )


def _scale_reasons(
    matrix: NDArray[np.float64], earlier: Measurement, later: Measurement
) -> tuple[Doubt, ...]:
    if earlier.scale is None or later.scale is None:
        return ()
    stated = later.scale.mm_per_px / earlier.scale.mm_per_px
    seen = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    off = abs(seen / stated - 1)
    if off <= SCALE_MOST:
        return ()
    text = f"The pictures fit at a size {off:.0%} off what their two scales say; check both."
    return (Doubt("scales_disagree", text),)


def warped(second: Prepared, first: Prepared, laid: Registration, values: Array, order: int = 1) -> Array:
    """Bring (H, W) values of the later working picture onto the earlier working grid; outside is NaN."""
    if laid.matrix is None:
        raise ValueError("the pictures are not aligned")
    full = np.vstack([np.array(laid.matrix), [0, 0, 1]])
    to_later = np.linalg.inv(full)
    height, width = first.shape
    y, x = np.mgrid[0:height, 0:width] + 0.5
    points = np.stack([x * first.zoom, y * first.zoom, np.ones_like(x)])
    at = np.tensordot(to_later[:2], points, axes=1) / second.zoom - 0.5
    moved = ndimage.map_coordinates(values.astype(np.float32), [at[1], at[0]], order=order, cval=np.nan)
    return np.asarray(moved, dtype=np.float32)
