"""Move a coarse outline to where the skin changes: half way between just inside and just outside."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from lesions.analysis.picture import binary, resample
from lesions.analysis.picture.contour import Ring, of_mask, smooth, trace
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.surroundings import Surroundings

_ROUNDS = 4
_CONTRAST = 0.03


def border(mask: Mask, density: Array, around: Surroundings, *, lean: float) -> Ring | None:
    """Refine a coarse mask against local means and trace it.

    Parameters
    ----------
    mask : bool (H, W)
        Coarse outline.
    density : float32 (H, W)
        One view of density above the skin, hair taken out.
    around : Surroundings
        Never entered.
    lean : float
        How far the border may go from the coarse one, in tenths of the mean radius: small trusts the start.

    Returns
    -------
    float (N, 2) or None
        Ring of x, y.
    """
    reach = float(np.clip(0.10 * np.sqrt(mask.sum() / np.pi), 2.0, 14.0))
    box, corner = _box(mask, int(5 * reach) + 3)
    start, view = mask[box], ndimage.gaussian_filter(density[box], max(0.8, reach / 6))
    depth = ndimage.distance_transform_edt(start) - ndimage.distance_transform_edt(~start)
    pull = (depth / (lean * reach)).astype(np.float32)
    ring = _settled(start, view, pull, around.usable[box], 2 * reach)
    return of_mask(mask) if ring is None else ring + corner


def _box(mask: Mask, margin: int) -> tuple[tuple[slice, slice], Ring]:
    """The part of the picture that matters, and its corner as x, y."""
    rows, columns = np.nonzero(mask.any(axis=1))[0], np.nonzero(mask.any(axis=0))[0]
    top, left = max(0, rows[0] - margin), max(0, columns[0] - margin)
    box = slice(top, rows[-1] + margin + 1), slice(left, columns[-1] + margin + 1)
    return box, np.array([left, top], dtype=np.float64)


def _settled(start: Mask, view: Array, pull: Array, usable: Mask, sigma: float) -> Ring | None:
    """Move the border round by round; None where the piece is lost or runs away."""
    current, blurred = start, _Blurred(view, sigma)
    for _ in range(_ROUNDS):
        level = _level(current, view, pull, blurred)
        level[~usable] = -1
        marks, count = ndimage.label(level > 0)
        if count == 0:
            return None
        sizes = np.bincount(marks.ravel())[1:]
        current = binary.filled(marks == int(sizes.argmax()) + 1)
    current = binary.opened(current, max(1, int(sigma / 8)))
    if not 0.5 < current.sum() / start.sum() < 2.0:
        return None
    return _ring(level, current)


def _level(current: Mask, view: Array, pull: Array, blurred: _Blurred) -> Array:
    """Density less the mean of its two sides, in contrasts; far from the start the start decides (`pull`)."""
    near, far = blurred.sides(current.astype(np.float32))
    contrast = np.maximum(near - far, _CONTRAST)
    return np.asarray((view - (near + far) / 2) / contrast + pull, dtype=np.float32)


class _Blurred:
    """Gaussian means on both sides of a border, on a smaller copy: they are smooth, and the outer follows
    from the inner and the whole."""

    def __init__(self, view: Array, sigma: float) -> None:
        self._view, self._step = view, max(1, int(sigma / 3))
        self._sigma = sigma / self._step
        self._whole = self._smooth(view)

    def sides(self, inside: Array) -> tuple[Array, Array]:
        share, sums = self._smooth(inside), self._smooth(self._view * inside)
        return self._mean(sums, share), self._mean(self._whole - sums, 1 - share)

    def _smooth(self, values: Array) -> Array:
        return np.asarray(ndimage.gaussian_filter(resample.thinned(values, self._step), self._sigma))

    def _mean(self, sums: Array, share: Array) -> Array:
        height, width = self._view.shape
        mean = np.asarray(sums / np.maximum(share, 1e-4), dtype=np.float32)
        return resample.enlarged(mean, self._step, (height, width))


def _ring(level: Array, kept: Mask) -> Ring | None:
    """Trace the level, but only round the kept piece and not round the holes in it."""
    band = binary.dilated(kept, 2)
    clean = np.where(band, np.clip(level, -1, 1), -1.0)
    clean[binary.eroded(kept, 2)] = 1.0
    ring = trace(ndimage.gaussian_filter(clean.astype(np.float32), 1.0))
    return None if ring is None else smooth(ring, 1.0)
