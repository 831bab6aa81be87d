"""Lay the later picture on the earlier one: guessed by outline or features, decided by the skin around the lesion."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.compare import guesses, skin
from lesions.analysis.compare.overlay import Similarity, View
from lesions.analysis.compare.skin import Hold
from lesions.analysis.picture import contour, resample
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Array
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.types import Doubt, Measurement, Registration
from lesions.analysis.wording import reason

SCALE_MOST = 0.03  # skin under a contact plate stretches by some per cent: common practice, no source
_SIDE = 384
_RIMS = (
    0.25,
    0.18,
)  # of the lesion's radius: so close to it the skin may have moved; narrower ones swallowed growth
# Tried beside the outlines' own zoom where no scale says it: the lesion may have grown.
_OTHER_ZOOMS = (1.0, 0.88, 1.12)


def register(first: Prepared, second: Prepared, earlier: Measurement, later: Measurement) -> Registration:
    """Find the similarity that takes LATER pixels to EARLIER pixels, by the skin around the lesion alone.

    Parameters
    ----------
    first, second : Prepared
        The earlier and the later picture.
    earlier, later : Measurement
        Their outlines say what is no skin and give a first guess; their scales bound the zoom.

    Returns
    -------
    Registration
        `aligned` False with reasons where the skin is not found or contradicts both scales; never a guess.
    """
    one, two = _view(first), _view(second)
    ring_one, ring_two = _ring(first, one, earlier), _ring(second, two, later)
    if ring_one is None or ring_two is None:
        return _refused(reason("no_outline"))
    views, rings, stated = (one, two), (ring_one, ring_two), _stated_zoom(one, two, earlier, later)
    skins = [(_skin(one, ring_one, rim), _skin(two, ring_two, rim)) for rim in _RIMS]
    skins = [
        both for both in skins if min(len(skin.patches(v.usable)[0]) for v in both) >= skin.LEAST_PATCHES
    ]
    held = (_held(views, both, rings, stated) for both in skins)
    hold = next((each for each in held if each is not None), None)
    if hold is not None:
        return _within_scales(hold, one, two, earlier, later)
    if not skins:
        return _refused(reason("little_skin"))
    mirrored = _looks_mirrored(views, skins[0], rings, stated)
    return _refused(reason("mirrored" if mirrored else "skin_not_found"), mirrored=mirrored)


def _looks_mirrored(
    views: tuple[View, View], skins: tuple[View, View], rings: tuple[Ring, Ring], stated: float | None
) -> bool:
    """Say whether the skin is found once the later picture is mirrored."""
    later = _flip(rings[1], views[1].image.shape[1])
    flipped = (views[0], _flipped(views[1])), (skins[0], _flipped(skins[1])), (rings[0], later)
    return _held(*flipped, stated, features=False) is not None


def _refused(why: Doubt, *, mirrored: bool = False) -> Registration:
    return Registration(False, None, None, None, mirrored, (why,))


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


def _flipped(view: View) -> View:
    return View(view.image[:, ::-1].copy(), view.usable[:, ::-1].copy(), view.zoom)


def _skin(view: View, ring: Ring, rim: float) -> View:
    """Take the structure of the skin, the lesion and its rim left out."""
    mask = contour.fill(ring, (view.image.shape[0], view.image.shape[1]))
    reach = max(3.0, rim * math.sqrt(mask.sum() / math.pi))
    usable = np.asarray(view.usable & (ndimage.distance_transform_edt(~mask) > reach), dtype=bool)
    return View(skin.band(view, usable), usable, view.zoom)


def _stated_zoom(one: View, two: View, earlier: Measurement, later: Measurement) -> float | None:
    """Pixels of the later view per pixel of the earlier one, by both scales; None where one is unknown."""
    if earlier.scale is None or later.scale is None:
        return None
    return earlier.scale.mm_per_px * one.zoom / (later.scale.mm_per_px * two.zoom)


def _held(
    views: tuple[View, View],
    skins: tuple[View, View],
    rings: tuple[Ring, Ring],
    stated: float | None,
    *,
    features: bool = True,
) -> Hold | None:
    """Find the first guess, in order of cost, on which the skin agrees."""
    for guess in _starts(guesses.all_of(*views, *rings, features=features), rings[0], stated):
        hold = skin.find(*skins, guess)
        if hold is not None and hold.firm:
            return hold
    return None


def _starts(found: Iterator[Similarity], ring: Ring, stated: float | None) -> Iterator[Similarity]:
    """Each guess at the zoom that the scales state, else at its own and at zooms that a grown lesion would hide."""
    x, y = (float(n) for n in ring.mean(axis=0))
    later: list[Similarity] = []
    for guess in found:
        zooms = [guess.zoom * z for z in _OTHER_ZOOMS] if stated is None else [stated]
        first, *others = (guess.with_zoom(z, x, y) for z in zooms)
        later += others
        yield first
    yield from later


def _within_scales(
    hold: Hold, one: View, two: View, earlier: Measurement, later: Measurement
) -> Registration:
    """The skin's own zoom as far as the scales allow; no answer where they plainly contradict it."""
    way, stated = hold.way, _stated_zoom(one, two, earlier, later)
    if stated is not None:
        most = 1.96 * joint_uncertainty(earlier, later)
        off = way.zoom / stated - 1
        if abs(off) > max(SCALE_MOST, most):
            return _refused(reason("scales_disagree", off=round(abs(off), 4)))
        way = way.with_zoom(stated * (1 + float(np.clip(off, -most, most))), *hold.middle)
    matrix = _later_to_earlier(way, one.zoom, two.zoom)
    rows = tuple(tuple(float(f"{v:.8g}") for v in row) for row in matrix)
    return Registration(True, "skin", rows, round(hold.miss * one.zoom, 2), False)  # type: ignore[arg-type]


def joint_uncertainty(earlier: Measurement, later: Measurement) -> float:
    """Of the ratio of both scales, relative; one device's own calibration is common to both and cancels."""
    one, two = earlier.scale, later.scale
    if one is None or two is None or (one == two and one.origin == "device"):
        return 0.0
    return math.hypot(one.rel_uncertainty, two.rel_uncertainty)


def _later_to_earlier(way: Similarity, zoom_one: float, zoom_two: float) -> NDArray[np.float64]:
    """Invert earlier-to-later view pixels, and go to full pixels on both sides."""
    forward = np.array([[way.a, -way.b, way.tx], [way.b, way.a, way.ty], [0, 0, 1]])
    back = np.linalg.inv(forward)
    return np.asarray(
        (np.diag([zoom_one, zoom_one, 1]) @ back @ np.diag([1 / zoom_two, 1 / zoom_two, 1]))[:2]
    )


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
