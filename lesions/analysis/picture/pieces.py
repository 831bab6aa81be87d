"""Connected pieces of a sparse mask, by its runs along the rows: a picture of numbers takes three times as long."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from lesions.analysis.picture.light import Mask

Numbers = NDArray[np.integer]
_CELL = 4


@dataclass(frozen=True)
class Pieces:
    """Marked pixels, row by row, and the number of the piece that each belongs to, from 0 on by first pixels.

    `inner`: whether all four neighbours of a pixel are marked, too.
    """

    rows: Numbers
    columns: Numbers
    numbers: Numbers
    count: int
    inner: Mask

    @property
    def spans(self) -> NDArray[np.float64]:
        """Diagonal of the box round each piece."""
        extents = []
        for along in (self.rows, self.columns):
            least, most = np.full(self.count, along.max(initial=0)), np.zeros(self.count, dtype=along.dtype)
            np.minimum.at(least, self.numbers, along)
            np.maximum.at(most, self.numbers, along)
            extents.append(most - least + 1)
        return np.asarray(np.hypot(*extents), dtype=np.float64)


def connected(rows: Numbers, columns: Numbers) -> Pieces:
    """Pieces of the pixels marked, given row by row; those that touch by a corner hang together."""
    wide = int(columns.max(initial=0)) + 2  # between two rows a place that is never marked
    places = (rows + 1) * wide + columns
    first = np.flatnonzero(np.diff(places, prepend=-2) != 1)
    lengths = np.diff(first, append=len(places))
    starts, ends = places[first], places[first] + lengths - 1
    low = np.searchsorted(ends, starts + wide - 1)
    met = np.maximum(np.searchsorted(starts, ends + wide + 1, side="right") - low, 0)
    upto = np.cumsum(met)
    below = np.arange(upto[-1] if len(upto) else 0) + np.repeat(low - upto + met, met)
    told = np.concatenate([[0], upto]).astype(np.int32)
    graph = csr_array((np.ones(len(below)), below.astype(np.int32), told), shape=(len(first), len(first)))
    count, numbers = connected_components(graph, directed=False)
    marked = np.zeros(int(places[-1]) + wide + 1 if len(places) else 0, dtype=bool)
    marked[places] = True
    inner = marked[places - 1] & marked[places + 1] & marked[places - wide] & marked[places + wide]
    return Pieces(rows, columns, np.repeat(numbers, lengths), int(count), inner)


def reaching(mask: Mask, least: float) -> Mask:
    """Leave out what cannot be part of a piece so long, seen in coarse cells: what touches there may be one piece."""
    if not mask.any():
        return mask
    height, width = mask.shape
    whole = np.pad(mask, [(0, -n % _CELL) for n in mask.shape])
    bands = whole[::_CELL] | whole[1::_CELL] | whole[2::_CELL] | whole[3::_CELL]
    cells = bands[:, ::_CELL] | bands[:, 1::_CELL] | bands[:, 2::_CELL] | bands[:, 3::_CELL]
    marks, _ = ndimage.label(cells, np.ones((3, 3)))
    spans = [math.hypot(b[0].stop - b[0].start, b[1].stop - b[1].start) for b in ndimage.find_objects(marks)]
    long = np.array([0, *spans]) * _CELL > least
    if not long.any():
        return np.zeros_like(mask)
    kept = long[marks].repeat(_CELL, axis=0).repeat(_CELL, axis=1)
    return np.asarray(kept[:height, :width] & mask, dtype=bool)
