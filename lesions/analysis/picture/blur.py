"""Gaussian blurs as products with a banded matrix: SciPy's answer to the sixth digit in a third of the time."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import as_strided, sliding_window_view
from numpy.typing import NDArray

from lesions.analysis.picture.light import Array

Places = NDArray[np.int_]
# Rows and columns of one product: so small that BLAS never spreads it over threads (OpenBLAS does from 2**18
# multiplications on), whose waiting would cost more than the product.
_ROWS, _COLUMNS = 16, 32
_TRUNCATE = 4.0  # standard deviations, as SciPy's


def gaussian(values: Array, sigma: float, truncate: float = _TRUNCATE) -> Array:
    """Gaussian of (..., H, W) along its last two axes, mirrored at the rim."""
    band = _band(sigma, truncate)
    reach = (band.shape[1] - _ROWS) // 2
    found = _across(_down(_padded(values, reach), band), band)
    return found[..., : values.shape[-2], : values.shape[-1]]


def gaussian_at(
    values: Array, sigma: float, rows: Places, columns: Places, truncate: float = _TRUNCATE
) -> Array:
    """What the Gaussian of (C, H, W) gives at these few places (C, N): only the squares that hold one are reckoned."""
    band = _band(sigma, truncate)
    padded = _padded(values, (band.shape[1] - _ROWS) // 2)
    wide, blocks = band.shape[1], -(-values.shape[2] // _ROWS)
    square = rows // _ROWS * blocks + columns // _ROWS
    asked = np.flatnonzero(np.bincount(square))
    windows = sliding_window_view(padded, (wide, wide), axis=(1, 2))[:, ::_ROWS, ::_ROWS]
    found = band @ windows[:, asked // blocks, asked % blocks] @ band.T
    at = np.searchsorted(asked, square), rows % _ROWS, columns % _ROWS
    return np.asarray(found[:, *at], dtype=np.float32)


def weights(sigma: float, truncate: float = _TRUNCATE) -> Array:
    """Weights of a Gaussian, their sum 1, from the farthest on one side to the farthest on the other."""
    reach = int(truncate * sigma + 0.5)
    bell = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return np.asarray(bell / bell.sum(), dtype=np.float32)


@lru_cache(maxsize=64)  # a picture asks for the same few, and each takes as long as a small blur
def _band(sigma: float, truncate: float) -> Array:
    """The weights in each row, one column further from row to row."""
    bell = weights(sigma, truncate)
    band = np.zeros((_ROWS, _ROWS + len(bell) - 1), dtype=np.float32)
    down, across = band.strides
    as_strided(band, (_ROWS, len(bell)), (down + across, across))[:] = bell
    band.flags.writeable = False
    return band


def _padded(values: Array, reach: int) -> Array:
    """Mirrored at the rim by the reach, and behind it until whole products are filled."""
    *more, height, width = values.shape
    down, across = (-(-n // _ROWS) * _ROWS + 2 * reach for n in (height, width))
    across = -(-across // _COLUMNS) * _COLUMNS
    if reach > min(height, width):
        margins = [(0, 0)] * len(more) + [(reach, n) for n in (down - height - reach, across - width - reach)]
        return np.pad(np.asarray(values, dtype=np.float32), margins, mode="symmetric")
    # By hand: np.pad takes as long as the whole blur of a small picture.
    out = np.zeros((*more, down, across), dtype=np.float32)
    inner = out[..., reach : reach + height, :]
    inner[..., reach : reach + width] = values
    inner[..., :reach] = inner[..., 2 * reach - 1 : reach - 1 : -1]
    inner[..., reach + width : 2 * reach + width] = inner[..., reach + width - 1 : width - 1 : -1]
    out[..., :reach, :] = out[..., 2 * reach - 1 : reach - 1 : -1, :]
    out[..., reach + height : 2 * reach + height, :] = out[..., reach + height - 1 : height - 1 : -1, :]
    return out


def _down(padded: Array, band: Array) -> Array:
    """Weighted means down the columns, for whole blocks of rows."""
    *more, rows, columns = padded.shape
    *steps, down, across = padded.strides
    wide = band.shape[1]
    blocks, parts = (rows - wide) // _ROWS + 1, columns // _COLUMNS
    seen = as_strided(
        padded,
        (*more, blocks, parts, wide, _COLUMNS),
        (*steps, _ROWS * down, _COLUMNS * across, down, across),
    )
    out = np.empty((*more, blocks * _ROWS, columns), dtype=np.float32)
    np.matmul(band, seen, out=out.reshape(*more, blocks, _ROWS, parts, _COLUMNS).swapaxes(-3, -2))
    return out


def _across(values: Array, band: Array) -> Array:
    """Weighted means along the rows, for whole blocks of rows and columns."""
    *more, rows, columns = values.shape
    *steps, down, across = values.strides
    wide = band.shape[1]
    blocks, parts = rows // _ROWS, (columns - wide) // _ROWS + 1
    seen = as_strided(
        values, (*more, blocks, parts, _ROWS, wide), (*steps, _ROWS * down, _ROWS * across, down, across)
    )
    out = np.empty((*more, rows, parts * _ROWS), dtype=np.float32)
    np.matmul(seen, band.T, out=out.reshape(*more, blocks, _ROWS, parts, _ROWS).swapaxes(-3, -2))
    return out
