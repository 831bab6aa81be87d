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
# Places of the grid on one side of each axis (2, N), and their mirror images.
_PLACES = np.arange(_GRID * _GRID).reshape(_GRID, _GRID)
_ONE = np.stack([_PLACES[: _GRID // 2].ravel(), _PLACES[:, : _GRID // 2].ravel()])
_OTHER = np.stack([_PLACES[: _GRID // 2 - 1 : -1].ravel(), _PLACES[:, : _GRID // 2 - 1 : -1].ravel()])
_FINE, _WIDE = 1 / 16, 1 / 8  # of the lesion's reach: what counts as structure, and where it is gathered

Places = NDArray[np.int_]
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
    tight = binary.box(mask, 0)
    centre, reach = _extent(mask[tight])
    centre += tight[0].start, tight[1].start
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
    planes = np.ascontiguousarray(np.moveaxis(lab, -1, 0))
    coarse = blur.gaussian(planes, cell / 2) if cell > 1 else planes
    return np.stack([*coarse, _structure(planes[0], mask, reach)])


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
    sine, cosine = (f(angles)[:, None, None] for f in (np.sin, np.cos))
    y = np.rint((centre[0] + sine * steps) + cosine * steps[:, None]).astype(np.int64)
    x = np.rint((centre[1] + cosine * steps) - sine * steps[:, None]).astype(np.int64)
    height, width = mask.shape
    seen = (y >= 0) & (x >= 0) & (y < height) & (x < width)
    at = (np.clip(y, 0, height - 1) * width + np.clip(x, 0, width - 1)).reshape(len(angles), -1)
    inside = mask.ravel()[at] & seen.reshape(at.shape)
    return _differences(inside, layers.reshape(4, -1), at)


def _differences(inside: Mask, sampled: Array, at: Places) -> Folds:
    """Of the half on one side of each axis, for every turn: each pair of mirrored points counts once."""
    here, there = inside[:, _ONE], inside[:, _OTHER]
    both = here & there
    counts = both.sum(axis=2)
    axis = np.repeat(np.arange(counts.size), counts.ravel())
    first, second = (sampled.take(at[:, side][both], axis=1) for side in (_ONE, _OTHER))

    def gathered(values: Array) -> Folds:
        return np.asarray(np.bincount(axis, values, counts.size), dtype=np.float64).reshape(counts.shape)

    shape = (here ^ there).sum(axis=2) / np.maximum(1, inside.sum(axis=1))[:, None]
    colour = gathered(delta_e_2000(first[:3].T, second[:3].T)) / np.maximum(1, counts)
    unlike = gathered(np.abs(first[3] - second[3]))
    structure = unlike / np.maximum(1e-6, gathered(first[3] + second[3]))
    return np.stack([shape, colour, structure], axis=2)
