"""sRGB to CIELAB and the CIEDE2000 difference."""

from __future__ import annotations

import math

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
_TO_WHITE = (_TO_XYZ / _WHITE[:, None]).astype(np.float32)
_AT_ONCE = 8192  # pixels: what is computed in between then stays in the processor's cache


def to_lab(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Turn sRGB uint8 (..., 3) into CIELAB under D65, float32 (..., 3); one after the other of L*, a*, b* in memory."""
    rows = pixels.reshape(-1, 3)
    light, a, b = out = np.empty((3, len(rows)), dtype=np.float32)
    for start in range(0, len(rows), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        x, y, z = _curved(rows[part])
        np.multiply(y, 116, out=light[part])
        np.multiply(x - y, 500, out=a[part])
        np.multiply(y - z, 200, out=b[part])
    light -= 16
    return np.moveaxis(out.reshape(3, *pixels.shape[:-1]), 0, -1)


def _curved(rows: NDArray[np.uint8]) -> NDArray[np.float32]:
    """X, Y and Z (3, N) through the curve of CIE 15: a cube root, straight where it is dark."""
    xyz = _TO_WHITE @ _LINEAR.take(rows.T)
    dark = xyz <= 216 / 24389
    with np.errstate(divide="ignore"):  # black has no logarithm
        curve = np.log(xyz)
    curve *= np.float32(1 / 3)
    np.exp(curve, out=curve)  # a power takes three times as long
    if dark.any():
        curve[dark] = (24389 / 27 * xyz[dark] + 16) / 116
    return np.asarray(curve, dtype=np.float32)


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
    redder = 1.5 - 0.5 * _strength((_length(a1, b1) + _length(a2, b2)) / 2)
    a1, a2 = redder * a1, redder * a2
    c1, c2 = _length(a1, b1), _length(a2, b2)
    c_mean, (cosine, sine), apart = (c1 + c2) / 2, *_hues(a1, b1, c1, a2, b2, c2)
    dl = (l2 - l1) / _light_weight((l1 + l2) / 2)
    dc = (c2 - c1) / (1 + 0.045 * c_mean)
    dh = 2 * np.sqrt(c1 * c2) * apart / (1 + 0.015 * c_mean * _hue_weight(cosine, sine))
    squared = dl * dl + dc * dc + dh * dh + _blue_turn(cosine, sine) * _strength(c_mean) * dc * dh
    return np.asarray(np.sqrt(np.maximum(squared, 0)))


def _length(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.sqrt(a * a + b * b))


def _strength(chroma: Floats) -> Floats:
    """Square root of C^7 / (C^7 + 25^7); multiplied out, for a power takes ten times as long."""
    squared = chroma * chroma
    seventh = squared * squared * squared * chroma
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))


def _hues(
    a1: Floats, b1: Floats, c1: Floats, a2: Floats, b2: Floats, c2: Floats
) -> tuple[tuple[Floats, Floats], Floats]:
    """Cosine and sine of the hue half way between, the short way round, and the sine of half the way from one to two.

    By half angles and without one arcus, which takes longer than all the rest; a grey has no hue, and none is asked.
    """
    (x1, y1), (x2, y2) = _half(a1, b1, c1), _half(a2, b2, c2)
    # Hues just opposite have two ways; the formula takes the one that runs through no 360.
    short = np.where(x1 * x2 + y1 * y2 < -1e-9, -1, 1).astype(x1.dtype)
    return (short * (x1 * x2 - y1 * y2), short * (x1 * y2 + y1 * x2)), short * (x1 * y2 - y1 * x2)


def _half(a: Floats, b: Floats, c: Floats) -> tuple[Floats, Floats]:
    """Cosine and sine of half the hue, which runs from 0 to 360 degrees."""
    long = np.sqrt(2 * c * (c + np.abs(a))) + np.finfo(c.dtype).tiny
    more, less = (c + np.abs(a)) / long, np.abs(b) / long
    warm = a >= 0
    return np.copysign(np.where(warm, more, less), b), np.where(warm, less, more)


def _light_weight(light: Floats) -> Floats:
    squared = (light - 50) ** 2
    return np.asarray(1 + 0.015 * squared / np.sqrt(20 + squared))


def _hue_weight(x: Floats, y: Floats) -> Floats:
    """T of the formula: cosines of one to four times the hue, each turned by its own angle."""
    x2, y2 = x * x - y * y, 2 * x * y
    x3, y3 = x2 * x - y2 * y, x2 * y + y2 * x
    x4, y4 = x2 * x2 - y2 * y2, 2 * x2 * y2
    out = 1 + 0.24 * x2
    for weight, degrees, cosine, sine in ((-0.17, 30, x, y), (0.32, -6, x3, y3), (-0.20, 63, x4, y4)):
        turn = math.radians(degrees)
        out += weight * math.cos(turn) * cosine + weight * math.sin(turn) * sine
    return out


def _blue_turn(x: Floats, y: Floats) -> Floats:
    """What R_T has beside the chroma's strength; nothing but where the hue is blue, from 180 degrees on."""
    out = np.zeros_like(x)
    blue = y < 0
    if blue.any():
        hue = np.degrees(np.arctan2(y[blue], x[blue])) + 360
        out[blue] = -2 * np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2))))
    return out
