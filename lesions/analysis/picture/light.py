"""Turn a picture into optical density above the surrounding skin, freed from uneven light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]
Mask = NDArray[np.bool_]
Bytes = NDArray[np.uint8]

_DENSITY = (-np.log((np.arange(256) + 1.0) / 256.0)).astype(np.float32)
_SAMPLES_PER_SIDE = 64


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
    density = _DENSITY[pixels]
    height, width = usable.shape
    step = max(1, max(height, width) // _SAMPLES_PER_SIDE)
    y, x = np.mgrid[0:height:step, 0:width:step]
    weight = usable[::step, ::step] * _ring_weight(x, y, width, height)
    terms = _terms(x / width * 2 - 1, y / height * 2 - 1)
    fits = [_robust_fit(terms, density[::step, ::step, c], weight) for c in range(3)]
    skin = _surface(np.array(fits), width, height)
    return Light(density - skin, skin)


def above(pixels: Bytes, skin: Array) -> Array:
    """Density of uint8 (H, W, 3) above a skin surface that is already known."""
    return np.asarray(_DENSITY[pixels] - skin, dtype=np.float32)


def grey(density: Array) -> Array:
    """Mean of the three channels; numpy's own mean over a last axis of three is ten times slower."""
    return (density[..., 0] + density[..., 1] + density[..., 2]) / np.float32(3)


def _ring_weight(x: NDArray[np.int_], y: NDArray[np.int_], width: int, height: int) -> Array:
    """1 towards the rim where skin is likely, falling to a little in the middle where the lesion is."""
    radius = np.hypot(x - width / 2, y - height / 2) / np.hypot(width / 2, height / 2)
    return np.asarray(np.clip((radius - 0.30) / 0.25, 0.02, 1.0), dtype=np.float32)


def _terms(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _robust_fit(terms: NDArray[np.float64], values: Array, weight: Array) -> NDArray[np.float64]:
    """Iterated least squares that trusts darker samples less than lighter: lesions and hair are dark."""
    basis, target, base = terms.reshape(-1, 6), values.reshape(-1), weight.reshape(-1).astype(np.float64)
    if base.sum() < 1:
        base = np.ones_like(base)
    start = np.average(target, weights=base)
    factors = np.array([start, 0, 0, 0, 0, 0])
    for spread in (0.5, 0.25, 0.15, 0.10, 0.08, 0.08):
        residual = target - basis @ factors
        bound = np.where(residual > 0, spread, 2 * spread)
        w = base / (1 + (residual / bound) ** 2) ** 2
        scaled = basis * w[:, None]
        ridge = np.diag([0.0, 1, 1, 3, 3, 3]) * 0.02 * w.sum()
        factors = np.linalg.solve(scaled.T @ basis + ridge + 1e-9 * np.eye(6), scaled.T @ target)
    return factors


def _surface(factors: NDArray[np.float64], width: int, height: int) -> Array:
    x = (np.arange(width) / width * 2 - 1).astype(np.float32)[None, :, None]
    y = (np.arange(height) / height * 2 - 1).astype(np.float32)[:, None, None]
    c, cx, cy, cxx, cxy, cyy = (factors[:, i].astype(np.float32) for i in range(6))
    return np.asarray(c + cx * x + cxx * x * x + (cy + cxy * x) * y + cyy * y * y, dtype=np.float32)
