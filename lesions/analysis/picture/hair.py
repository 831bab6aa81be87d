"""Find hairs, and fill in the skin under them before anything is measured."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.picture import binary, light, resample
from lesions.analysis.picture.light import Array, Mask

_LEAST_DENSITY = 0.13
_FAN = 32  # degrees to both sides of each of four directions: neighbours overlap
_MIDDLES = (0, 45, 90, 135)
# For each degree the fans that hold it, a bit for each.
_FANS = np.array(
    [
        sum((abs((degree - middle + 90) % 180 - 90) < _FAN) << bit for bit, middle in enumerate(_MIDDLES))
        for degree in range(180)
    ],
    dtype=np.uint8,
)
_WIDEST = 1 / 60  # of the longer side
_SHORTEST = 1 / 9
_CELL = 4
_STRAIGHTEST_NET = 0.45  # a hair's ends lie nearly its length apart; a pigment network folds back on itself


def find_hair(density: Array) -> Mask:
    """Mark long thin ridges, darker or lighter than what lies beside them.

    Parameters
    ----------
    density : float32 (H, W, 3)
        Density above the skin.

    Returns
    -------
    bool (H, W)
    """
    longer = max(density.shape[:2])
    size = max(3, int(longer * _WIDEST) | 1)
    levels = np.clip(light.grey(density) * 80 + 80, 0, 255).astype(np.uint8)
    levels = ndimage.uniform_filter(levels, 3)
    dark = levels - np.minimum(levels, resample.opened(levels, size))
    pale = np.maximum(levels, resample.closed(levels, size)) - levels
    least = _LEAST_DENSITY * 80
    found = np.zeros(levels.shape, dtype=bool)
    fans = _FANS[_directions(levels)]
    for ridges in (dark > least, pale > 1.5 * least):
        for bit in range(len(_MIDDLES)) if ridges.sum() > longer * _SHORTEST else ():
            part = ridges & ((fans & (1 << bit)) != 0)
            if _reaches(part, longer * _SHORTEST):
                found |= _long_thin(part, longer)
    return binary.dilated(found, max(1, longer // 400))


def _directions(levels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Direction across the local structure in degrees, 0-179: crossing hairs fall apart by it."""
    view = levels.astype(np.float32)
    gy, gx = ndimage.sobel(view, 0), ndimage.sobel(view, 1)
    smooth = [resample.thinned(p, 2) for p in (gx * gx, gx * gy, gy * gy)]
    xx, xy, yy = (ndimage.gaussian_filter(p, 1.0, truncate=2.5) for p in smooth)
    degrees = (np.arctan2(2 * xy, xx - yy) * (90 / np.pi)).astype(np.int16) % 180
    wide = degrees.astype(np.uint8).repeat(2, axis=0).repeat(2, axis=1)
    return np.asarray(wide[: view.shape[0], : view.shape[1]], dtype=np.uint8)


def _reaches(ridges: Mask, least: float) -> bool:
    """Say whether any piece could be that long, seen in coarse cells: what touches there may be one piece."""
    whole = np.pad(ridges, [(0, -n % _CELL) for n in ridges.shape])
    rows = whole[::_CELL] | whole[1::_CELL] | whole[2::_CELL] | whole[3::_CELL]
    cells = rows[:, ::_CELL] | rows[:, 1::_CELL] | rows[:, 2::_CELL] | rows[:, 3::_CELL]
    marks, _ = ndimage.label(cells, np.ones((3, 3)))
    return any(span * _CELL > least for span in _spans(marks))


def _spans(marks: NDArray[np.int32]) -> list[float]:
    """Diagonal of the box round each marked piece, in the order of their numbers."""
    boxes = ndimage.find_objects(marks)
    return [math.hypot(b[0].stop - b[0].start, b[1].stop - b[1].start) for b in boxes]


def _long_thin(ridges: Mask, longer: int) -> Mask:
    marks, count = ndimage.label(ridges, np.ones((3, 3)))
    if count == 0:
        return ridges
    where = np.nonzero(ridges)
    numbers = marks[where] - 1
    area = np.bincount(numbers, minlength=count)
    inner = np.bincount(marks[binary.eroded(ridges)], minlength=count + 1)[1:]
    length = np.maximum((area - inner) / 2, 1)
    span = np.array(_spans(marks))
    hairy = (
        (span > longer * _SHORTEST) & (area / length < longer * _WIDEST) & (span / length > _STRAIGHTEST_NET)
    )
    kept = np.zeros_like(ridges)
    kept[where] = hairy[numbers]
    return kept


def close_over(pixels: NDArray[np.uint8], hairs: Mask) -> NDArray[np.uint8]:
    """Replace marked pixels of (H, W, 3) by what lies beside them, the nearest first."""
    if not hairs.any():
        return pixels
    out, missing = pixels.copy(), hairs.copy()
    known = (~hairs).astype(np.float32)
    for step, sigma in ((1, 2.0), (3, 2.5), (8, 3.0), (24, 4.0)):
        rows, columns = np.nonzero(missing)
        if len(rows) == 0:
            break
        near = known[::step, ::step]
        weight = resample.blurred_at(near, sigma, rows // step, columns // step)
        reached = weight > 0.1
        at = rows[reached], columns[reached]
        for channel in range(3):
            there = pixels[::step, ::step, channel] * near
            spread = resample.blurred_at(there, sigma, at[0] // step, at[1] // step)
            out[at[0], at[1], channel] = np.clip(spread / weight[reached] + 0.5, 0, 255)
        missing[at] = False
    return out
