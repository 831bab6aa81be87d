"""sRGB to CIELAB and the CIEDE2000 difference."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Lab = NDArray[np.floating]

_LINEAR = np.array(
    [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in np.arange(256) / 255.0],
    dtype=np.float32,
)
# sRGB primaries to XYZ, divided by the D65 white (IEC 61966-2-1)
_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = np.array([0.95047, 1.0, 1.08883])
_AT_ONCE = 8192  # pixels: what is computed in between then stays in the processor's cache


def to_lab(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Turn sRGB uint8 (..., 3) into CIELAB under D65, float32 (..., 3)."""
    rows = pixels.reshape(-1, 3)
    out = np.empty(rows.shape, dtype=np.float32)
    for start in range(0, len(rows), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        out[part] = _lab(rows[part])
    return out.reshape(pixels.shape)


def _lab(rows: NDArray[np.uint8]) -> NDArray[np.float32]:
    matrix = (_TO_XYZ / _WHITE[:, None]).astype(np.float32)
    xyz = matrix @ _LINEAR[rows].T
    x, y, z = np.where(xyz > 216 / 24389, xyz ** np.float32(1 / 3), (24389 / 27 * xyz + 16) / 116)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1).astype(np.float32)


def delta_e_2000(first: Lab, second: Lab) -> Floats:
    """CIEDE2000 colour difference, kL = kC = kH = 1.

    Parameters
    ----------
    first, second : ndarray (..., 3)
        CIELAB; shapes broadcast. The answer has their precision; float32 is right to 0.0001.

    Returns
    -------
    ndarray (...)
        Difference, 0 upwards.

    References
    ----------
    Sharma, Wu, Dalal, Color Research and Application 30 (2005) 21-30, whose 34 pairs are its test.
    """
    l1, a1, b1 = (np.asarray(first)[..., i] for i in range(3))
    l2, a2, b2 = (np.asarray(second)[..., i] for i in range(3))
    c_mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - _strength(c_mean))
    c1, h1 = _chroma_hue((1 + g) * a1, b1)
    c2, h2 = _chroma_hue((1 + g) * a2, b2)
    grey = c1 * c2 == 0
    apart = h2 - h1
    dh = np.where(grey, 0, apart - 360 * np.rint(apart / 360))
    h_sum = h1 + h2
    wrapped = np.where(h_sum < 360, h_sum + 360, h_sum - 360)
    h_mean = np.where(grey, h_sum, np.where(np.abs(apart) > 180, wrapped, h_sum) / 2)
    return _weighted(l1, l2, c1, c2, dh, h_mean)


def _strength(chroma: Floats) -> Floats:
    """Square root of C^7 / (C^7 + 25^7); multiplied out, for a power takes ten times as long."""
    squared = chroma * chroma
    seventh = squared * squared * squared * chroma
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))


def _chroma_hue(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    hue = np.degrees(np.arctan2(b, a))
    return np.hypot(a, b), np.where(hue < 0, hue + 360, hue)


def _weighted(l1: Floats, l2: Floats, c1: Floats, c2: Floats, dh: Floats, h_mean: Floats) -> Floats:
    l_mean, c_mean = (l1 + l2) / 2, (c1 + c2) / 2
    big_dh = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2)
    t = (
        1
        - 0.17 * np.cos(np.radians(h_mean - 30))
        + 0.24 * np.cos(np.radians(2 * h_mean))
        + 0.32 * np.cos(np.radians(3 * h_mean + 6))
        - 0.20 * np.cos(np.radians(4 * h_mean - 63))
    )
    s_l = 1 + 0.015 * (l_mean - 50) ** 2 / np.sqrt(20 + (l_mean - 50) ** 2)
    s_c, s_h = 1 + 0.045 * c_mean, 1 + 0.015 * c_mean * t
    turn = np.radians(60 * np.exp(-(((h_mean - 275) / 25) ** 2)))
    r_t = -2 * _strength(c_mean) * np.sin(turn)
    dl, dc, dhh = (l2 - l1) / s_l, (c2 - c1) / s_c, big_dh / s_h
    squared = dl**2 + dc**2 + dhh**2 + r_t * dc * dhh
    return np.asarray(np.sqrt(np.maximum(squared, 0)))
