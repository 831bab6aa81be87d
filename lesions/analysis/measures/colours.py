"""Measure C: which of six colours the lesion shows, and how much of it each takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lesions.analysis.picture.colour import to_lab
from lesions.analysis.picture.light import Array, Mask

NAMES = ("white", "red", "light_brown", "dark_brown", "blue_grey", "black")
LEAST_SHARE = 0.03
_SAMPLES = 8000  # of the lesion's pixels, taken evenly: a share of 3 % is then known to 0.2 %
# Density of red, green, blue of the common skin to which every picture is brought before naming.
_COMMON_SKIN = np.array([0.20, 0.42, 0.55], dtype=np.float32)
# CIELAB references, our own: named by eye on drawn patches and on open pictures. The six names are those
# of the ABCD rule (Nachbar et al. 1994); published reference values differ, none is followed.
_REFERENCES = {
    "skin": [(70, 15, 17), (64, 17, 18)],
    "white": [(84, 4, 6), (92, 1, 2)],
    "red": [(55, 32, 18), (48, 38, 20)],
    "light_brown": [(54, 18, 26), (47, 18, 26)],
    "dark_brown": [(34, 17, 20), (26, 14, 15)],
    "blue_grey": [(46, 3, 1), (36, 1, -6)],
    "black": [(12, 4, 3), (5, 0, 0)],
}
_POINTS = np.array([point for name in ("skin", *NAMES) for point in _REFERENCES[name]], dtype=np.float32)
_NUMBERS = np.repeat(
    np.arange(1 + len(NAMES), dtype=np.uint8), [len(_REFERENCES[name]) for name in ("skin", *NAMES)]
)


def shares(density: Array, mask: Mask) -> dict[str, float]:
    """Give each named colour its share of the lesion.

    Parameters
    ----------
    density : float32 (H, W, 3)
        Density above the skin, hair taken out.
    mask : bool (H, W)
        The lesion; not empty.

    Returns
    -------
    dict of str to float
        Share 0-1 for each of `NAMES`; what is left is skin-coloured.
    """
    inside = np.flatnonzero(mask)
    rows, columns = np.divmod(inside[:: max(1, len(inside) // _SAMPLES)], mask.shape[1])
    named = classify(density[rows, columns])
    return {name: float((named == i + 1).mean()) for i, name in enumerate(NAMES)}


def classify(density: Array) -> NDArray[np.uint8]:
    """Number of the nearest colour per row of (N, 3) density: 0 skin, then the place in `NAMES` + 1."""
    common = np.exp(-(density + _COMMON_SKIN)) * 255
    lab = to_lab(np.clip(common, 0, 255).astype(np.uint8))
    # |a - b|² is least where a·b - |b|²/2 is greatest
    nearest = (lab @ _POINTS.T - (_POINTS**2).sum(axis=1) / 2).argmax(axis=1)
    return np.asarray(_NUMBERS[nearest], dtype=np.uint8)
