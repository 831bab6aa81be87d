"""Find hairs, and fill in the skin under them before anything is measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lesions.analysis.picture import binary, blur, pieces, resample
from lesions.analysis.picture.light import Array, Mask

Places = NDArray[np.int_]
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
_STRAIGHTEST_NET = 0.45  # a hair's ends lie nearly its length apart; a pigment network folds back on itself


def find_hair(density: NDArray[np.uint8]) -> Mask:
    """Mark long thin ridges, darker or lighter than what lies beside them.

    Parameters
    ----------
    density : uint8 (H, W)
        Density above the skin in steps, as `light.levels` gives it.

    Returns
    -------
    bool (H, W)
    """
    longer = max(density.shape)
    size, least = max(3, int(longer * _WIDEST) | 1), longer * _SHORTEST
    levels = _smoothed(density)
    dark = levels - np.minimum(levels, resample.opened(levels, size))
    pale = np.maximum(levels, resample.closed(levels, size)) - levels
    found = np.zeros(levels.shape, dtype=bool)
    sheets = dark > _LEAST_DENSITY * 80, pale > 1.5 * _LEAST_DENSITY * 80
    places = [np.flatnonzero(pieces.reaching(ridges, least)) for ridges in sheets]
    rows, columns = np.divmod(np.concatenate(places), levels.shape[1])
    if len(rows):
        sheet = np.repeat([0, 1], [len(each) for each in places])
        hairy = _long_thin(rows, columns, sheet, _fans(levels, rows, columns), longer)
        found[rows[hairy], columns[hairy]] = True
    return binary.dilated(found, max(1, longer // 400))


def _smoothed(levels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Mean over squares of three, rounded down each way."""
    wide = np.pad(levels, 1, mode="edge").astype(np.uint16)
    down = (wide[:-2] + wide[1:-1] + wide[2:]) // 3
    return np.asarray((down[:, :-2] + down[:, 1:-1] + down[:, 2:]) // 3, dtype=np.uint8)


def _fans(levels: NDArray[np.uint8], rows: Places, columns: Places) -> NDArray[np.uint8]:
    """The fans that hold the direction across the local structure, seen at half size; crossing hairs fall apart so."""
    gy, gx = (slope.astype(np.float32) for slope in _slopes(levels))
    products = np.empty((3, *levels.shape), dtype=np.float32)
    for product, pair in zip(products, ((gx, gx), (gx, gy), (gy, gy)), strict=True):
        np.multiply(*pair, out=product)
    xx, xy, yy = blur.gaussian_at(_halved(products), 1.0, rows // 2, columns // 2, truncate=2.5)
    degrees = (np.arctan2(2 * xy, xx - yy) * (90 / np.pi)).astype(np.int16) % 180
    return np.asarray(_FANS[degrees], dtype=np.uint8)


def _slopes(levels: NDArray[np.uint8]) -> tuple[NDArray[np.int16], NDArray[np.int16]]:
    """Slopes down and across, each smoothed the other way (Sobel's)."""
    wide = np.pad(levels, 1, mode="edge").astype(np.int16)
    down, across = wide[2:] - wide[:-2], wide[:, 2:] - wide[:, :-2]
    return down[:, :-2] + 2 * down[:, 1:-1] + down[:, 2:], across[:-2] + 2 * across[1:-1] + across[2:]


def _halved(layers: Array) -> Array:
    """Means of blocks of two by two of (C, H, W); a last row or column alone is its own mean."""
    height, width = layers.shape[1:]
    if height % 2 or width % 2:
        layers = np.pad(layers, [(0, 0), (0, height % 2), (0, width % 2)], mode="edge")
    rows = layers[:, ::2] + layers[:, 1::2]
    return np.asarray((rows[..., ::2] + rows[..., 1::2]) * np.float32(0.25))


def _long_thin(rows: Places, columns: Places, sheet: Places, fans: NDArray[np.uint8], longer: int) -> Mask:
    """Say of each pixel whether it is of a piece that is long for its width and lies stretched out.

    Pieces hang together within a sheet and a fan; all of them are looked at in one go, one under the other.
    """
    members = [np.flatnonzero((fans & (1 << bit)) != 0) for bit in range(len(_MIDDLES))]
    member = np.concatenate(members)
    layer = 2 * np.repeat(np.arange(len(_MIDDLES)), [len(each) for each in members]) + sheet[member]
    found = pieces.connected(rows[member] + layer * (int(rows.max()) + 2), columns[member])
    area, inner = (np.bincount(n, minlength=found.count) for n in (found.numbers, found.numbers[found.inner]))
    length, span = np.maximum((area - inner) / 2, 1), found.spans
    hairy = (
        (span > longer * _SHORTEST) & (area / length < longer * _WIDEST) & (span / length > _STRAIGHTEST_NET)
    )
    out = np.zeros(len(rows), dtype=bool)
    out[member[hairy[found.numbers]]] = True
    return out


def close_over(pixels: NDArray[np.uint8], hairs: Mask) -> NDArray[np.uint8]:
    """Replace marked pixels of (H, W, 3) by what lies beside them, the nearest first."""
    if not hairs.any():
        return pixels
    out, missing = pixels.copy(), hairs.copy()
    for step, sigma in ((1, 2.0), (3, 2.5), (8, 3.0), (24, 4.0)):
        places = np.flatnonzero(missing)
        if len(places) == 0:
            break
        rows, columns = np.divmod(places, missing.shape[1])
        near = ~hairs[::step, ::step]
        seen = np.empty((4, *near.shape), dtype=np.float32)
        seen[0] = near
        for channel in range(3):
            np.multiply(near, pixels[::step, ::step, channel], out=seen[1 + channel])
        weight, *spread = blur.gaussian_at(seen, sigma, rows // step, columns // step)
        reached = weight > 0.1
        at = rows[reached], columns[reached]
        for channel in range(3):
            out[at[0], at[1], channel] = np.clip(spread[channel][reached] / weight[reached] + 0.5, 0, 255)
        missing[at] = False
    return out
