"""What is in the photograph but not of the skin: the tube's dark frame, stickers, ink."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .light import Mask

_CAST = 0.40


@dataclass(frozen=True)
class Surroundings:
    """Boolean (H, W) each: `frame` outside the lit field, `foreign` stickers and pen."""

    frame: Mask
    foreign: Mask

    @property
    def usable(self) -> Mask:
        return ~(self.frame | self.foreign)


def find(pixels: NDArray[np.uint8], lab: NDArray[np.float32]) -> Surroundings:
    """Mark the dark frame and coloured things that skin cannot be.

    Parameters
    ----------
    pixels : uint8 (H, W, 3)
        sRGB.
    lab : float32 (H, W, 3)
        The same in CIELAB.
    """
    frame = _frame(pixels)
    foreign = _foreign(lab) & ~frame
    return Surroundings(frame, foreign)


def _frame(pixels: NDArray[np.uint8]) -> Mask:
    """Dark parts hanging together with a corner of the picture: a lesion at one side is no frame."""
    dark = pixels.max(axis=2) < 62
    height, width = dark.shape
    inset_y, inset_x = max(1, height // 40), max(1, width // 40)
    marks, _ = ndimage.label(dark)
    corners = [
        marks[:inset_y, :inset_x],
        marks[:inset_y, -inset_x:],
        marks[-inset_y:, :inset_x],
        marks[-inset_y:, -inset_x:],
    ]
    found = {int(np.bincount(c.ravel()).argmax()) for c in corners if (c > 0).mean() > 0.6} - {0}
    frame = np.isin(marks, list(found))
    return ndimage.binary_dilation(frame, iterations=max(1, width // 100)) if found else frame


def _foreign(lab: NDArray[np.float32]) -> Mask:
    """Green, blue, violet or glaring yellow: hues of stickers and pens, with their rims."""
    smooth = ndimage.uniform_filter(lab, (3, 3, 1))
    light, a, b = smooth[..., 0], smooth[..., 1], smooth[..., 2]
    chroma = np.hypot(a, b)
    green = (a < -7) & (chroma > 12)
    blue = (b < -9) & (chroma > 14)
    yellow = (b > 55) & (light > 60)
    size = max(1, lab.shape[1] // 128)
    if (green | blue | yellow).mean() > _CAST:
        return np.zeros_like(green)  # the whole picture has a cast: these hues say nothing about stickers
    core = ndimage.binary_opening(green | blue | yellow, iterations=1)
    closed = ndimage.binary_closing(core, iterations=size)
    return np.asarray(ndimage.binary_dilation(closed, iterations=size + 1), dtype=bool)
