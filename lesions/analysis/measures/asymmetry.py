"""Measure A: how far the lesion differs from its mirror image over two axes at right angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.picture import resample
from lesions.analysis.picture.colour import delta_e_2000
from lesions.analysis.picture.light import Array, Mask

_GRID = 64
_TURNS = 18
SHAPE_LIMIT = 0.10
COLOUR_LIMIT = 6.0
# Our own, no source: a network over one half of an even lesion gives 0.27, an even one under 0.01; of the experts'
# outlines of open pictures one in ten is beyond it.
STRUCTURE_LIMIT = 0.15
_LIMITS = (SHAPE_LIMIT, COLOUR_LIMIT, STRUCTURE_LIMIT)
_FINE, _WIDE = 1 / 16, 1 / 8  # of the lesion's reach: what counts as structure, and where it is gathered

Fold = tuple[float, float, float]


@dataclass(frozen=True)
class Asymmetry:
    """`shape` 0-1, `colour` in CIEDE2000, `structure` 0-1: means of both axes; `axes` 0-2 beyond any limit."""

    shape: float
    colour: float
    structure: float
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
        An axis counts where shape, colour or structure is beyond its limit.

    References
    ----------
    Nachbar et al. 1994 (ABCD rule): two axes at 90 degrees, placed for the lowest score, by contour, colour or
    structure; our own limits.
    """
    y, x = np.nonzero(mask)
    centre = np.array([y.mean(), x.mean()])
    reach = float(np.hypot(y - centre[0], x - centre[1]).max()) + 1
    edge = 4 + int(4 * reach / _GRID)  # what the blur below draws in
    top, left = max(0, int(y.min()) - edge), max(0, int(x.min()) - edge)
    box = slice(top, int(y.max()) + edge + 1), slice(left, int(x.max()) + edge + 1)
    layers = _layers(lab[box], mask[box], reach)

    def fold(turn: int) -> list[Fold]:
        return _folded(layers, mask[box], centre - (top, left), reach, turn * np.pi / 2 / _TURNS)

    folds = {turn: fold(turn) for turn in range(0, _TURNS, 2)}
    middle = min(folds, key=lambda turn: _weight(folds[turn]))
    best = min(folds[middle], fold(middle - 1), fold(middle + 1), key=_weight)
    axes = sum(any(d > most for d, most in zip(axis, _LIMITS, strict=True)) for axis in best)
    shape, colour, structure = np.mean(best, axis=0)
    return Asymmetry(float(shape), float(colour), float(structure), axes)


def _weight(fold: list[Fold]) -> float:
    return sum(d / most for axis in fold for d, most in zip(axis, _LIMITS, strict=True))


def _layers(lab: Array, mask: Mask, reach: float) -> Array:
    """Colour blurred to the grid's cells, and behind it the strength of the structure."""
    cell = 2 * reach / _GRID
    coarse = ndimage.gaussian_filter(lab, (cell / 2, cell / 2, 0)) if cell > 1 else lab
    return np.concatenate([coarse, _structure(lab[..., 0], mask, reach)[..., None]], axis=-1)


def _structure(lightness: Array, mask: Mask, reach: float) -> Array:
    """Root mean square of what is finer than a sixteenth of the reach, gathered over an eighth of it.

    Nothing outside the mask enters: the fall at the border is shape, not structure.
    """
    inside = mask.astype(np.float32)
    detail = lightness - _mean(lightness, inside, _FINE * reach)
    return np.asarray(np.sqrt(_mean(detail * detail, inside, _WIDE * reach)), dtype=np.float32)


def _mean(values: Array, inside: Array, sigma: float) -> Array:
    """Gaussian mean of what lies inside."""
    sums, weight = resample.spread(values * inside, sigma), resample.spread(inside, sigma)
    return np.asarray(sums / np.maximum(weight, 1e-3), dtype=np.float32)


def _folded(layers: Array, mask: Mask, centre: NDArray[np.float64], reach: float, angle: float) -> list[Fold]:
    """Difference over the axis at `angle` and over the one across it."""
    steps = (np.arange(_GRID) + 0.5) / _GRID * 2 * reach - reach
    v, u = np.meshgrid(steps, steps, indexing="ij")
    y = np.rint(centre[0] + np.sin(angle) * u + np.cos(angle) * v).astype(int)
    x = np.rint(centre[1] + np.cos(angle) * u - np.sin(angle) * v).astype(int)
    height, width = mask.shape
    seen = (y >= 0) & (x >= 0) & (y < height) & (x < width)
    y, x = np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)
    inside, sampled = mask[y, x] & seen, layers[y, x]
    return [_difference(inside, sampled, axis) for axis in (0, 1)]


def _difference(inside: Mask, sampled: Array, axis: int) -> Fold:
    """Of the half on one side of the axis: each pair of mirrored points counts once."""
    half = (slice(0, _GRID // 2), slice(None)) if axis == 0 else (slice(None), slice(0, _GRID // 2))
    one, other = inside[half], np.flip(inside, axis)[half]
    both = one & other
    shape = float((one ^ other).sum() / max(1, inside.sum()))
    if not both.any():
        return shape, 0.0, 0.0
    here, there = sampled[half][both], np.flip(sampled, axis)[half][both]
    colour = float(delta_e_2000(here[:, :3], there[:, :3]).mean())
    unlike = np.abs(here[:, 3] - there[:, 3]).sum() / max(1e-6, (here[:, 3] + there[:, 3]).sum())
    return shape, colour, float(unlike)
