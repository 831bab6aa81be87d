"""Morphology of masks by the cross of four neighbours: SciPy's answers to the pixel, several times faster.

Outside the picture counts as not marked, as in SciPy; `tests/lesions/analysis/picture/test_binary.py` compares the two.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from lesions.analysis.picture.light import Mask


def count(mask: Mask) -> int:
    """How many are marked; a mask's own sum takes ten times as long."""
    return int(np.count_nonzero(mask))


def dilated(mask: Mask, times: int = 1) -> Mask:
    """Mark the four neighbours of what is marked, `times` over."""
    for _ in range(times):
        out = mask.copy()
        out[1:] |= mask[:-1]
        out[:-1] |= mask[1:]
        out[:, 1:] |= mask[:, :-1]
        out[:, :-1] |= mask[:, 1:]
        mask = out
    return mask


def eroded(mask: Mask, times: int = 1) -> Mask:
    """Keep what has all four neighbours, `times` over; nothing on the rim has."""
    for _ in range(times):
        out = np.zeros_like(mask)
        inner = mask[1:-1, 1:-1] & mask[:-2, 1:-1]
        inner &= mask[2:, 1:-1]
        inner &= mask[1:-1, :-2]
        inner &= mask[1:-1, 2:]
        out[1:-1, 1:-1] = inner
        mask = out
    return mask


def opened(mask: Mask, times: int = 1) -> Mask:
    """Take away what is narrower than `times` steps on both sides."""
    return dilated(eroded(mask, times), times)


def closed(mask: Mask, times: int = 1) -> Mask:
    """Fill what is narrower than `times` steps on both sides; along the rim the erosion takes it back."""
    return eroded(dilated(mask, times), times)


def filled(mask: Mask) -> Mask:
    """Fill what cannot be reached from the rim."""
    marks, pieces = ndimage.label(~mask)
    if pieces == 1 and (marks[0, 0] or marks[-1, -1]):
        return mask
    outside = np.zeros(pieces + 1, dtype=bool)
    for rim in (marks[0], marks[-1], marks[:, 0], marks[:, -1]):
        outside[rim] = True
    outside[0] = False  # the mask itself
    return np.asarray(~outside[marks], dtype=bool)


def box(mask: Mask, margin: int) -> tuple[slice, slice]:
    """Rows and columns that hold all of a mask that is not empty, and `margin` more on each side within the picture."""
    ends = [np.nonzero(mask.any(axis=axis))[0] for axis in (1, 0)]
    rows, columns = (slice(max(0, int(e[0]) - margin), int(e[-1]) + margin + 1) for e in ends)
    return rows, columns
