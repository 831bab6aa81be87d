"""Say whether a lesion grew all round or to one side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lesions.analysis.types import Comparison

ONE_SIDED = (
    0.35  # our own limit: drawn lesions grown all round stay under 0.2, those bulged to one side pass 0.5
)
_RAYS = 72


def shape(comparison: Comparison) -> str | None:
    """Say how the outline moved: "symmetric", "one-sided", or None where the area did not grow beyond repeats.

    Parameters
    ----------
    comparison : Comparison
        Aligned, with both outlines; otherwise None.
    """
    area = next((d for d in comparison.deltas if d.name == "area_px"), None)
    if area is None or not area.beyond or area.delta is None or area.delta <= 0:
        return None
    lean = one_sidedness(comparison)
    if lean is None:
        return None
    return "one-sided" if lean > ONE_SIDED else "symmetric"


def one_sidedness(comparison: Comparison) -> float | None:
    """Length of the mean outward move as a vector over the mean of its size: 0 all round, 1 in one direction."""
    first, second, matrix = (
        comparison.earlier.outline,
        comparison.later.outline,
        comparison.registration.matrix,
    )
    if first is None or second is None or matrix is None:
        return None
    before = np.array(first.points)
    centre = before.mean(axis=0)
    turn = np.array(matrix)
    after = np.array(second.points) @ turn[:, :2].T + turn[:, 2]
    moved = _reach(after - centre) - _reach(before - centre)
    angles = _angles()
    size = float(np.abs(moved).mean())
    return float(np.abs((moved * np.exp(1j * angles)).mean())) / size if size else 0.0


def _angles() -> NDArray[np.float64]:
    return np.arange(_RAYS) / _RAYS * 2 * np.pi - np.pi


def _reach(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance of a ring from the origin along each ray."""
    angle, far = np.arctan2(ring[:, 1], ring[:, 0]), np.hypot(ring[:, 0], ring[:, 1])
    order = np.argsort(angle)
    return np.interp(_angles(), angle[order], far[order], period=2 * np.pi)
