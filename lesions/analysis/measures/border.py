"""Measure B: in how many eighths of the border the pigment ends abruptly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lesions.analysis.picture import resample
from lesions.analysis.picture.contour import Ring, area
from lesions.analysis.picture.light import Array

SECTORS = 8
ABRUPT_RAMP = 0.05
_LEAST_CONTRAST = 0.10
_STEPS = 41
_SPAN = 0.12


def abrupt_sectors(density: Array, ring: Ring) -> int:
    """Count the eighths whose border falls from pigment to skin over a short way.

    Parameters
    ----------
    density : float32 (H, W)
        Density above the skin, hair taken out.
    ring : float (N, 2)
        Border.

    Returns
    -------
    int
        0-8.

    References
    ----------
    Nachbar et al. 1994 (ABCD rule): eighths with an abrupt cut-off of the pigment. The limit on the ramp's
    width, `ABRUPT_RAMP` of the lesion's equivalent diameter, is our own.
    """
    ramps = ramp_widths(density, ring)
    return int(np.sum(ramps < ABRUPT_RAMP))


def ramp_widths(density: Array, ring: Ring) -> NDArray[np.float64]:
    """Width of the density ramp in each eighth, in equivalent diameters; infinite without contrast."""
    diameter = 2 * np.sqrt(area(ring) / np.pi)
    offsets = np.linspace(-_SPAN, _SPAN, _STEPS) * diameter
    where = ring[:, None, :] + outward(ring)[:, None, :] * offsets[None, :, None]
    profiles = resample.between(density, where[..., 0], where[..., 1])
    centre = ring.mean(axis=0)
    angle = np.arctan2(*(ring - centre).T[::-1])
    sector = ((angle + np.pi) / (2 * np.pi) * SECTORS).astype(int) % SECTORS
    return np.array([_ramp(profiles[sector == s]) for s in range(SECTORS)])


def outward(ring: Ring) -> Ring:
    tangent = np.roll(ring, -3, axis=0) - np.roll(ring, 3, axis=0)
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    x, y = ring.T
    turns = np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))
    return normal if turns > 0 else -normal


def _ramp(profiles: NDArray[np.float64]) -> float:
    """Median way from 80 to 20 % of the fall between the inner and the outer fifth."""
    if len(profiles) == 0:
        return float("inf")
    ordered, count = np.sort(profiles, axis=0), len(profiles)  # NumPy's median takes thrice as long
    profile = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    fifth = _STEPS // 5
    inner, outer = profile[:fifth].mean(), profile[-fifth:].mean()
    if inner - outer < _LEAST_CONTRAST:
        return float("inf")
    share = (profile - outer) / (inner - outer)
    leaves = int(np.argmax(share < 0.8))
    arrives = _STEPS - int(np.argmax(share[::-1] > 0.2)) - 1
    return max(arrives - leaves, 1) * 2 * _SPAN / (_STEPS - 1)
