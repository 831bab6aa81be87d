"""Turn a picture into optical density above the surrounding skin, freed from uneven light."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]
Mask = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
Factors = NDArray[np.float64]

_DENSITY = (-np.log((np.arange(256) + 1.0) / 256.0)).astype(np.float32)
_SAMPLES_PER_SIDE = 64
_AT_ONCE = 8192  # pixels: what is computed in between then stays in the processor's cache
_RIDGE = np.diag([0.0, 1, 1, 3, 3, 3]) * 0.02
_FIRST, _SECOND = np.triu_indices(6)


@dataclass(frozen=True)
class Light:
    """`density` (H, W, 3) above the skin, `skin` (H, W, 3) the fitted density of skin under this light."""

    density: Array
    skin: Array


def even(pixels: Bytes, usable: Mask) -> Light:
    """Subtract a smooth skin surface from the optical density of each channel.

    Parameters
    ----------
    pixels : uint8 (H, W, 3)
        sRGB.
    usable : bool (H, W)
        False on frame, stickers and ink, which say nothing about skin.

    Returns
    -------
    Light
        Natural-log density; 0 is the skin's own, positive is darker.
    """
    density = _of(pixels)
    height, width = usable.shape
    step = max(1, max(height, width) // _SAMPLES_PER_SIDE)
    places = _places(height, width, step)
    weight = usable[::step, ::step].ravel() * places.weight
    fits = _robust_fits(places, density[::step, ::step].reshape(-1, 3), weight)
    skin = _surface(fits, width, height)
    return Light(density - skin, skin)


def change(lit: Light, pixels: Bytes, where: Mask) -> None:
    """Put in the density above the skin where the picture's pixels are others now."""
    at = np.divmod(np.flatnonzero(where), where.shape[1])
    lit.density[at] = _DENSITY[pixels[at]] - lit.skin[at]


@dataclass(frozen=True)
class _Places:
    """Where the skin is sampled: the six terms (N, 6) of its surface, their products, and how far skin is likely."""

    terms: Factors
    pairs: Factors
    weight: Array


@lru_cache(maxsize=4)  # pictures of one camera are of one size
def _places(height: int, width: int, step: int) -> _Places:
    y, x = np.mgrid[0:height:step, 0:width:step]
    terms = _terms(x / width * 2 - 1, y / height * 2 - 1).reshape(-1, 6)
    return _Places(terms, terms[:, _FIRST] * terms[:, _SECOND], _ring_weight(x, y, width, height).ravel())


def _of(pixels: Bytes) -> Array:
    """Optical density (H, W, 3) of each channel; one channel after the other in memory, for they are read so."""
    planes = np.ascontiguousarray(np.moveaxis(pixels, -1, 0))
    density = np.empty(planes.shape, dtype=np.float32)
    seen, out = planes.ravel(), density.ravel()
    for start in range(0, len(seen), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        np.take(_DENSITY, seen[part], out=out[part], mode="clip")
    return np.moveaxis(density, 0, -1)


def grey(density: Array) -> Array:
    """Mean of the three channels; numpy's own mean over a last axis of three is ten times slower."""
    return (density[..., 0] + density[..., 1] + density[..., 2]) / np.float32(3)


def levels(density: Array) -> Bytes:
    """Mean density of (H, W, 3) in 80 steps a unit, 80 for the skin's own: what thin dark and pale lines are sought in."""
    return np.asarray(np.clip(grey(density) * 80 + 80, 0, 255).astype(np.uint8))


def _ring_weight(x: NDArray[np.int_], y: NDArray[np.int_], width: int, height: int) -> Array:
    """1 towards the rim where skin is likely, falling to a little in the middle where the lesion is."""
    radius = np.hypot(x - width / 2, y - height / 2) / np.hypot(width / 2, height / 2)
    return np.asarray(np.clip((radius - 0.30) / 0.25, 0.02, 1.0), dtype=np.float32)


def _terms(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _robust_fits(places: _Places, values: Array, weight: Array) -> Factors:
    """Iterated least squares, channel by channel (3, 6), that trusts darker samples less than lighter: lesions and hair
    are dark."""
    target, base = values.T.astype(np.float64), weight.astype(np.float64)
    if base.sum() < 1:
        base = np.ones_like(base)
    factors = np.zeros((3, 6))
    factors[:, 0] = target @ base / base.sum()
    for spread in (0.5, 0.25, 0.15, 0.10, 0.08, 0.08):
        residual = (target - factors @ places.terms.T) / spread
        away = np.maximum(residual, residual * -0.5)
        w = base / (1 + away * away) ** 2
        normal = _RIDGE * w.sum(axis=1)[:, None, None] + 1e-9 * np.eye(6)
        normal[:, _FIRST, _SECOND] += w @ places.pairs
        normal[:, _SECOND, _FIRST] = normal[:, _FIRST, _SECOND]
        factors = np.linalg.solve(normal, ((w * target) @ places.terms)[..., None])[..., 0]
    return factors


def _surface(factors: Factors, width: int, height: int) -> Array:
    """The fitted surface (H, W, 3): along each row the sum of three curves, two of them weighted by its place."""
    x = (np.arange(width) / width * 2 - 1).astype(np.float32)
    y = (np.arange(height) / height * 2 - 1).astype(np.float32)[:, None]
    c, cx, cy, cxx, cxy, cyy = factors.T.astype(np.float32)[:, :, None, None]
    skin = (cy + cxy * x) * y
    skin += c + cx * x + cxx * x * x
    skin += cyy * y * y
    return np.moveaxis(skin, 0, -1)
