"""A: how far the lesion differs from its mirror image over two axes at right angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .colour import delta_e_2000
from .light import Array, Mask

_GRID = 64
_TURNS = 18
SHAPE_LIMIT = 0.10
COLOUR_LIMIT = 6.0


@dataclass(frozen=True)
class Asymmetry:
    """`shape` 0-1 and `colour` in CIEDE2000 are means of both axes; `axes` 0-2 beyond either limit."""

    shape: float
    colour: float
    axes: int


def measure(lab: Array, mask: Mask) -> Asymmetry:
    """Fold the lesion over the pair of axes that gives the least asymmetry.

    Parameters
    ----------
    lab : float32 (H, W, 3)
        CIELAB, hair taken out.
    mask : bool (H, W)
        The lesion; not empty.

    Returns
    -------
    Asymmetry

    References
    ----------
    Nachbar et al. 1994 (ABCD rule): two axes at 90 degrees, placed for the lowest score; our own limits.
    """
    y, x = np.nonzero(mask)
    centre = np.array([y.mean(), x.mean()])
    reach = float(np.hypot(y - centre[0], x - centre[1]).max()) + 1
    cell = 2 * reach / _GRID
    top, left = (max(0, int(c - 1.5 * reach)) for c in centre)
    box = slice(top, int(centre[0] + 1.5 * reach) + 1), slice(left, int(centre[1] + 1.5 * reach) + 1)
    coarse = ndimage.gaussian_filter(lab[box], (cell / 2, cell / 2, 0)) if cell > 1 else lab[box]

    def fold(turn: int) -> list[tuple[float, float]]:
        return _folded(coarse, mask[box], centre - (top, left), reach, turn * np.pi / 2 / _TURNS)

    folds = {turn: fold(turn) for turn in range(0, _TURNS, 2)}
    middle = min(folds, key=lambda turn: _weight(folds[turn]))
    best = min(folds[middle], fold(middle - 1), fold(middle + 1), key=_weight)
    axes = sum(s > SHAPE_LIMIT or c > COLOUR_LIMIT for s, c in best)
    shape, colour = np.mean(best, axis=0)
    return Asymmetry(float(shape), float(colour), axes)


def _weight(fold: list[tuple[float, float]]) -> float:
    return sum(shape / SHAPE_LIMIT + colour / COLOUR_LIMIT for shape, colour in fold)


def _folded(
    lab: Array, mask: Mask, centre: NDArray[np.float64], reach: float, angle: float
) -> list[tuple[float, float]]:
    """Shape and colour difference over the axis at `angle` and the one across it."""
    steps = (np.arange(_GRID) + 0.5) / _GRID * 2 * reach - reach
    v, u = np.meshgrid(steps, steps, indexing="ij")
    y = np.rint(centre[0] + np.sin(angle) * u + np.cos(angle) * v).astype(int)
    x = np.rint(centre[1] + np.cos(angle) * u - np.sin(angle) * v).astype(int)
    height, width = mask.shape
    seen = (y >= 0) & (x >= 0) & (y < height) & (x < width)
    y, x = np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)
    inside, colours = mask[y, x] & seen, lab[y, x]
    return [_difference(inside, colours, axis) for axis in (0, 1)]


def _difference(inside: Mask, colours: Array, axis: int) -> tuple[float, float]:
    """Of the half on one side of the axis: each pair of mirrored points counts once."""
    half = (slice(0, _GRID // 2), slice(None)) if axis == 0 else (slice(None), slice(0, _GRID // 2))
    one, other = inside[half], np.flip(inside, axis)[half]
    both = one & other
    shape = float((one ^ other).sum() / max(1, inside.sum()))
    if not both.any():
        return shape, 0.0
    return shape, float(delta_e_2000(colours[half][both], np.flip(colours, axis)[half][both]).mean())
