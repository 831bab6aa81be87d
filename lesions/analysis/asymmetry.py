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
    coarse = ndimage.gaussian_filter(lab, (cell / 2, cell / 2, 0)) if cell > 1 else lab
    folds = [_folded(coarse, mask, centre, reach, turn * np.pi / 2 / _TURNS) for turn in range(_TURNS)]
    best = min(folds, key=lambda f: sum(s / SHAPE_LIMIT + c / COLOUR_LIMIT for s, c in f))
    axes = sum(s > SHAPE_LIMIT or c > COLOUR_LIMIT for s, c in best)
    shape, colour = np.mean(best, axis=0)
    return Asymmetry(float(shape), float(colour), axes)


def _folded(
    lab: Array, mask: Mask, centre: NDArray[np.float64], reach: float, angle: float
) -> list[tuple[float, float]]:
    """Shape and colour difference over the axis at `angle` and the one across it."""
    steps = (np.arange(_GRID) + 0.5) / _GRID * 2 * reach - reach
    v, u = np.meshgrid(steps, steps, indexing="ij")
    where = np.stack(
        [centre[0] + np.sin(angle) * u + np.cos(angle) * v, centre[1] + np.cos(angle) * u - np.sin(angle) * v]
    )
    inside = ndimage.map_coordinates(mask.astype(np.uint8), where, order=0) > 0
    colours = np.stack([ndimage.map_coordinates(lab[..., c], where, order=1) for c in range(3)], axis=-1)
    return [_difference(inside, colours, axis) for axis in (0, 1)]


def _difference(inside: Mask, colours: Array, axis: int) -> tuple[float, float]:
    other = np.flip(inside, axis)
    both = inside & other
    shape = float((inside ^ other).sum() / (2 * max(1, inside.sum())))
    if not both.any():
        return shape, 0.0
    return shape, float(delta_e_2000(colours[both], np.flip(colours, axis)[both]).mean())
