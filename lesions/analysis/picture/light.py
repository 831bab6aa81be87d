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
Places = NDArray[np.int_]

_DENSITY = (-np.log((np.arange(256) + 1.0) / 256.0)).astype(np.float32)
_SAMPLES_PER_SIDE = 64
_AT_ONCE = 8192  # pixels: what is computed in between then stays in the processor's cache
_ROWS = 64  # of the picture, alike
_RIDGE = np.diag([0.0, 1, 1, 3, 3, 3]) * 0.02
_FIRST, _SECOND = np.triu_indices(6)


class Skin:
    """The fitted density of skin under a picture's light, a surface of the second degree in each channel."""

    def __init__(self, factors: Factors, width: int, height: int) -> None:
        x = (np.arange(width) / width * 2 - 1).astype(np.float32)
        self._y = (np.arange(height) / height * 2 - 1).astype(np.float32)
        c, cx, cy, cxx, cxy, cyy = factors.T.astype(np.float32)[:, :, None]
        self._tilt, self._along, self._down = cy + cxy * x, c + cx * x + cxx * x * x, cyy * self._y * self._y

    def take_from(self, density: Array) -> None:
        """Subtract it from (H, W, 3), a few rows at a time: these stay in the processor's cache."""
        for channel, (tilt, along, down) in enumerate(zip(self._tilt, self._along, self._down, strict=True)):
            for start in range(0, len(self._y), _ROWS):
                rows = slice(start, start + _ROWS)
                skin = tilt * self._y[rows, None]
                skin += along
                skin += down[rows, None]
                density[rows, :, channel] -= skin

    def at(self, rows: Places, columns: Places) -> Array:
        """Its density (N, 3) at single pixels."""
        skin = self._tilt[:, columns] * self._y[rows] + self._along[:, columns] + self._down[:, rows]
        return np.asarray(skin.T, dtype=np.float32)


@dataclass(frozen=True)
class Light:
    """`density` (H, W, 3) above the skin, and that of the skin."""

    density: Array
    skin: Skin


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
    samples = _samples(height, width, step)
    weight = usable[::step, ::step].ravel() * samples.weight
    fits = _robust_fits(samples, density[::step, ::step].reshape(-1, 3), weight)
    skin = Skin(fits, width, height)
    skin.take_from(density)
    return Light(density, skin)


def change(lit: Light, pixels: Bytes, where: Mask) -> None:
    """Put in the density above the skin where the picture's pixels are others now."""
    at = np.divmod(np.flatnonzero(where), where.shape[1])
    lit.density[at] = _DENSITY[pixels[at]] - lit.skin.at(*at)


@dataclass(frozen=True)
class _Samples:
    """Where the skin is sampled: the six terms (N, 6) of its surface, their products, and how far skin is likely."""

    terms: Factors
    pairs: Factors
    weight: Array


@lru_cache(maxsize=4)  # pictures of one camera are of one size
def _samples(height: int, width: int, step: int) -> _Samples:
    y, x = np.mgrid[0:height:step, 0:width:step]
    terms = _terms(x / width * 2 - 1, y / height * 2 - 1).reshape(-1, 6)
    return _Samples(terms, terms[:, _FIRST] * terms[:, _SECOND], _ring_weight(x, y, width, height).ravel())


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
    """Mean density (H, W) in 80 steps a unit, the skin's own at 80: what thin dark and pale lines are sought in."""
    return np.asarray(np.clip(grey(density) * 80 + 80, 0, 255).astype(np.uint8))


def _ring_weight(x: NDArray[np.int_], y: NDArray[np.int_], width: int, height: int) -> Array:
    """1 towards the rim where skin is likely, falling to a little in the middle where the lesion is."""
    radius = np.hypot(x - width / 2, y - height / 2) / np.hypot(width / 2, height / 2)
    return np.asarray(np.clip((radius - 0.30) / 0.25, 0.02, 1.0), dtype=np.float32)


def _terms(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _robust_fits(samples: _Samples, values: Array, weight: Array) -> Factors:
    """Iterated least squares, channel by channel (3, 6), that trusts darker samples less than lighter: lesions and hair
    are dark."""
    target, base = values.T.astype(np.float64), weight.astype(np.float64)
    if base.sum() < 1:
        base = np.ones_like(base)
    factors = np.zeros((3, 6))
    factors[:, 0] = target @ base / base.sum()
    for spread in (0.5, 0.25, 0.15, 0.10, 0.08, 0.08):
        residual = (target - factors @ samples.terms.T) / spread
        away = np.maximum(residual, residual * -0.5)
        w = base / (1 + away * away) ** 2
        normal = _RIDGE * w.sum(axis=1)[:, None, None] + 1e-9 * np.eye(6)
        normal[:, _FIRST, _SECOND] += w @ samples.pairs
        normal[:, _SECOND, _FIRST] = normal[:, _FIRST, _SECOND]
        factors = np.linalg.solve(normal, ((w * target) @ samples.terms)[..., None])[..., 0]
    return factors
