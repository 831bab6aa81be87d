"""Trace the lesion's border as a ring finer than pixels, and work out its size; never counted from pixels.

Rings are float (N, 2) arrays of x, y, open, in array coordinates with pixel centres at +0.5.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import ConvexHull, QhullError, distance
from skimage import measure

from lesions.analysis.picture.light import Array, Mask

Ring = NDArray[np.float64]
POINTS = 360
_find_contours: Any = measure.find_contours  # scikit-image is typed only in parts


def trace(level: Array, at: float = 0.0) -> Ring | None:
    """Follow the longest zero line of a level function.

    Parameters
    ----------
    level : float (H, W)
        Above `at` inside the lesion.
    at : float
        The level of the border.

    Returns
    -------
    float (POINTS, 2) or None
        Evenly spaced along the border; None where there is none.
    """
    low = min(float(level.min()), at - 1)
    lines = _find_contours(np.pad(level, 1, constant_values=low), at)
    if not lines:
        return None
    longest = max(lines, key=len)[:-1, ::-1] - 0.5  # -1 for the padding, +0.5 for the pixel's centre
    return even(longest) if len(longest) >= 8 else None


def of_mask(mask: Mask, sigma: float = 1.5) -> Ring | None:
    """Trace a mask after a light blur that takes the stairs of its pixels away."""
    return trace(ndimage.gaussian_filter(np.pad(mask, 4).astype(np.float32), sigma)[4:-4, 4:-4], 0.5)


def even(ring: Ring, count: int = POINTS) -> Ring:
    """Resample a ring to `count` points at equal distances along it."""
    closed = np.vstack([ring, ring[:1]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    stops = np.linspace(0, along[-1], count, endpoint=False)
    return np.stack([np.interp(stops, along, closed[:, i]) for i in (0, 1)], axis=1)


def smooth(ring: Ring, sigma: float) -> Ring:
    """Blur a ring along itself by `sigma` points."""
    return np.asarray(ndimage.gaussian_filter1d(ring, sigma, axis=0, mode="wrap"), dtype=np.float64)


def area(ring: Ring) -> float:
    """Area in square pixels, by the shoelace formula."""
    x, y = ring.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def perimeter(ring: Ring) -> float:
    """Length of the ring in pixels."""
    return float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())


def hull(ring: Ring) -> Ring:
    """Convex hull of the ring, in order; the ring itself where it has no extent."""
    return np.asarray(
        ring[_corners(np.ascontiguousarray(ring, dtype=np.float64).tobytes())], dtype=np.float64
    )


@lru_cache(maxsize=8)  # the doubts and the measures ask it of the same ring
def _corners(points: bytes) -> NDArray[np.intp]:
    ring = np.frombuffer(points).reshape(-1, 2)
    try:
        return np.asarray(ConvexHull(ring).vertices, dtype=np.intp)
    except QhullError:
        return np.arange(len(ring))


def feret(ring: Ring) -> float:
    """Largest distance between two points of the ring, in pixels."""
    return float(distance.pdist(ring).max())  # all pairs of a ring are fewer steps than finding its hull


def solidity(ring: Ring) -> float:
    """Area over the area of the convex hull, 0-1."""
    around = area(hull(ring))
    return area(ring) / around if around else 0.0


def compactness(ring: Ring) -> float:
    """Perimeter squared over 4 pi area; 1 for a circle, larger for ragged or drawn-out shapes."""
    inside = area(ring)
    return perimeter(ring) ** 2 / (4 * np.pi * inside) if inside else 0.0


def fill(ring: Ring, shape: tuple[int, int]) -> Mask:
    """Pixels whose centre lies inside the ring, bool (H, W): every crossing of a row turns inside to outside."""
    height, width = shape
    x0, y0 = ring.T
    x1, y1 = np.roll(ring, -1, axis=0).T
    first, last = np.ceil(np.minimum(y0, y1) - 0.5), np.ceil(np.maximum(y0, y1) - 0.5)
    first, last = (np.clip(edge, 0, height).astype(int) for edge in (first, last))
    edge = np.repeat(np.arange(len(ring)), last - first)
    row = np.arange(len(edge)) - np.repeat(np.cumsum(last - first) - last, last - first)
    along = (row + 0.5 - y0[edge]) / (y1 - y0)[edge]
    column = np.ceil(x0[edge] + along * (x1 - x0)[edge] - 0.5)
    column = np.clip(column, 0, width).astype(int)
    out = np.zeros(shape, dtype=bool)
    if len(row):
        top, left, right = row.min(), column.min(), column.max()
        turns = np.zeros((row.max() + 1 - top, right + 1 - left), dtype=np.uint8)
        np.add.at(turns, (row - top, column - left), 1)
        out[top : top + len(turns), left:right] = np.cumsum(turns[:, :-1], axis=1, dtype=np.uint8) & 1
    return out
