"""Compute wide filters cheaply: what is smooth is computed on a smaller copy."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from lesions.analysis.picture import binary, blur
from lesions.analysis.picture.light import Array, Mask

_FINE = 2.5  # a Gaussian narrower than this many pixels is not worth a smaller copy


def resized(values: Array, size: tuple[int, int]) -> Array:
    """Bring (H, W) or (H, W, C) floats to `size` = (rows, columns), averaging where it shrinks."""
    if values.ndim == 3:
        return np.stack([resized(values[..., c], size) for c in range(values.shape[2])], axis=-1)
    image = Image.fromarray(np.ascontiguousarray(values, dtype=np.float32))
    return np.asarray(image.resize((size[1], size[0]), Image.Resampling.BILINEAR), dtype=np.float32)


def shrunk(values: Array, factor: float) -> Array:
    """Shrink (H, W) by exactly `factor` along both axes; what does not fill a last row or column is left out."""
    height, width = (max(1, int(n / factor + 1e-6)) for n in values.shape)
    image = Image.fromarray(np.ascontiguousarray(values, dtype=np.float32))
    box = (0, 0, min(image.width, width * factor), min(image.height, height * factor))
    return np.asarray(image.resize((width, height), Image.Resampling.BILINEAR, box=box), dtype=np.float32)


def thinned(values: Array, step: int) -> Array:
    """Means of step x step blocks of (H, W); a narrower last row or column averages what it has."""
    if step == 1:
        return values
    image = Image.fromarray(np.ascontiguousarray(values, dtype=np.float32))
    return np.asarray(image.reduce(step), dtype=np.float32)


def block_means(values: NDArray[Any], step: int) -> Array:
    """Means of step x step blocks of (..., H, W); what fills no block is left out."""
    height, width = (n // step for n in values.shape[-2:])
    cut = values[..., : height * step, : width * step].astype(np.float32, copy=False)
    rows = np.add.reduce(cut.reshape(*cut.shape[:-2], height, step, width * step), axis=-2)
    sums = rows.reshape(*rows.shape[:-1], width, step) @ np.ones(step, dtype=np.float32)
    return np.asarray(sums / np.float32(step * step))


def spread(values: Array, sigma: float) -> Array:
    """Gaussian of (H, W) by way of a smaller copy, within a percent of the direct one."""
    step = max(1, int(sigma / _FINE))
    small = blur.gaussian(thinned(values, step), sigma / step)
    return small if step == 1 else enlarged(small, step, (values.shape[0], values.shape[1]))


def between(
    values: NDArray[Any], x: NDArray[np.float64], y: NDArray[np.float64], *, beyond: float | None = None
) -> Array:
    """Values of (H, W) at places whose pixel centres lie at +0.5, between the centres linearly.

    `beyond`: what lies outside the outermost centres; None: what lies nearest.
    """
    height, width = values.shape
    x, y = x - 0.5, y - 0.5
    inner_x, inner_y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    left, top = np.minimum(inner_x.astype(int), width - 2), np.minimum(inner_y.astype(int), height - 2)
    right, down = (inner_x - left).astype(np.float32), (inner_y - top).astype(np.float32)
    flat, at = values.ravel(), top * width + left
    upper = flat[at] * (1 - right) + flat[at + 1] * right
    lower = flat[at + width] * (1 - right) + flat[at + width + 1] * right
    found = upper * (1 - down) + lower * down
    if beyond is not None:
        found[(x != inner_x) | (y != inner_y)] = beyond
    return np.asarray(found, dtype=np.float32)


def enlarged(small: Array, step: int, shape: tuple[int, int]) -> Array:
    """Undo `thinned`, between block centres linearly."""
    grown = resized(small, (small.shape[0] * step, small.shape[1] * step))
    return grown[: shape[0], : shape[1]]


def extreme(values: NDArray[np.uint8], size: int, *, largest: bool) -> NDArray[np.uint8]:
    """Moving maximum or minimum over a square of odd `size`, by doubling shifts along each axis."""
    pick = np.maximum if largest else np.minimum
    out = np.pad(values, size // 2, mode="edge")
    for axis in (0, 1):
        out, reach = np.moveaxis(out, axis, 0), 1
        while reach < size:
            shift = min(reach, size - reach)
            out, reach = pick(out[:-shift], out[shift:]), reach + shift
        out = np.moveaxis(out, 0, axis)
    return np.ascontiguousarray(out)


def opened(values: NDArray[np.uint8], size: int) -> NDArray[np.uint8]:
    """Grey opening by a square: what is light and narrower than `size` goes."""
    return extreme(extreme(values, size, largest=False), size, largest=True)


def closed(values: NDArray[np.uint8], size: int) -> NDArray[np.uint8]:
    """Grey closing by a square: what is dark and narrower than `size` goes."""
    return extreme(extreme(values, size, largest=True), size, largest=False)


def within(mask: Mask, reach: float) -> Mask:
    """Pixels no farther than `reach` from the mask, each row of the disc by itself, in a box round the mask only."""
    out = np.zeros_like(mask)
    if not mask.any():
        return out
    far = int(reach)
    box = binary.box(mask, far)
    inside = mask[box]
    height, width = inside.shape
    wide = np.zeros((height + 2 * far, width), dtype=bool)
    row, done = inside.copy(), 0
    for down in range(far, -1, -1):
        for across in range(done + 1, int(math.sqrt(reach * reach - down * down)) + 1):
            row[:, across:] |= inside[:, :-across]
            row[:, :-across] |= inside[:, across:]
            done = across
        wide[far + down : far + down + height] |= row
        wide[far - down : far - down + height] |= row
    out[box] = wide[far : far + height]
    return out
