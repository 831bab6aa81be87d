"""Measure A: how far the lesion differs from its mirror image over two axes at right angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lesions.analysis.picture import binary, blur, resample
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

Folds = NDArray[np.float64]  # (turns, 2 axes, 3: shape, colour, structure)


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
    centre, reach = _extent(mask)
    box = binary.box(mask, 4 + int(4 * reach / _GRID))  # as far as the blur below draws in
    layers = _layers(lab[box], mask[box], reach)
    corner = box[0].start, box[1].start

    def folded(turns: list[int]) -> Folds:
        angles = np.array(turns) * np.pi / 2 / _TURNS
        return _folded(layers, mask[box], centre - corner, reach, angles)

    turns = list(range(0, _TURNS, 2))
    folds = folded(turns)
    middle = int(_weights(folds).argmin())
    near = np.concatenate([folds[middle : middle + 1], folded([turns[middle] - 1, turns[middle] + 1])])
    best = near[_weights(near).argmin()]
    shape, colour, structure = (float(mean) for mean in best.mean(axis=0))
    return Asymmetry(shape, colour, structure, int((best > _LIMITS).any(axis=1).sum()))


def _extent(mask: Mask) -> tuple[NDArray[np.float64], float]:
    """Centroid (y, x), and how far from it the farthest pixel lies, which ends a row."""
    height, width = mask.shape
    rows = np.flatnonzero(mask.any(axis=1))
    in_row, in_column = mask.sum(axis=1), mask.sum(axis=0)
    y, x = np.arange(height) @ in_row / in_row.sum(), np.arange(width) @ in_column / in_row.sum()
    ends = mask[rows].argmax(axis=1), width - 1 - mask[rows, ::-1].argmax(axis=1)
    return np.array([y, x]), float(max(np.hypot(rows - y, end - x).max() for end in ends)) + 1


def _weights(folds: Folds) -> Folds:
    return np.asarray((folds / _LIMITS).sum(axis=(1, 2)))


def _layers(lab: Array, mask: Mask, reach: float) -> Array:
    """Colour blurred to the grid's cells, and behind it the strength of the structure."""
    cell = 2 * reach / _GRID
    out = np.empty((*mask.shape, 4), dtype=np.float32)
    out[..., :3] = np.moveaxis(blur.gaussian(np.moveaxis(lab, -1, 0), cell / 2), 0, -1) if cell > 1 else lab
    out[..., 3] = _structure(lab[..., 0], mask, reach)
    return out


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


def _folded(layers: Array, mask: Mask, centre: Folds, reach: float, angles: Folds) -> Folds:
    """Difference over the axis at each angle and over the one across it."""
    steps = (np.arange(_GRID) + 0.5) / _GRID * 2 * reach - reach
    v, u = np.meshgrid(steps, steps, indexing="ij")
    sine, cosine = (f(angles)[:, None, None] for f in (np.sin, np.cos))
    y = np.rint(centre[0] + sine * u + cosine * v).astype(int)
    x = np.rint(centre[1] + cosine * u - sine * v).astype(int)
    height, width = mask.shape
    seen = (y >= 0) & (x >= 0) & (y < height) & (x < width)
    y, x = np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)
    inside, sampled = mask[y, x] & seen, layers[y, x]
    return np.stack([_differences(inside, sampled, axis) for axis in (1, 2)], axis=1)


def _differences(inside: Mask, sampled: Array, axis: int) -> Folds:
    """Of the half on one side of the axis, for every turn: each pair of mirrored points counts once."""
    half = (slice(None), *(slice(0, _GRID // 2) if n == axis else slice(None) for n in (1, 2)))
    one, other = inside[half], np.flip(inside, axis)[half]
    both = one & other
    here, there = sampled[half][both], np.flip(sampled, axis)[half][both]
    turn, count = np.nonzero(both)[0], len(inside)

    def gathered(values: Array) -> Folds:
        return np.asarray(np.bincount(turn, values, count), dtype=np.float64)

    shape = (one ^ other).sum(axis=(1, 2)) / np.maximum(1, inside.sum(axis=(1, 2)))
    colour = gathered(delta_e_2000(here[:, :3], there[:, :3])) / np.maximum(1, both.sum(axis=(1, 2)))
    unlike = gathered(np.abs(here[:, 3] - there[:, 3]))
    structure = unlike / np.maximum(1e-6, gathered(here[:, 3] + there[:, 3]))
    return np.stack([shape, colour, structure], axis=1)
