"""Find what is in the photograph but is not skin: the tube's dark frame, stickers, ink."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from lesions.analysis.picture import binary
from lesions.analysis.picture.colour import to_lab
from lesions.analysis.picture.light import Mask

_CAST = 0.40
_SEARCH_SIDE = 256


@dataclass(frozen=True)
class Surroundings:
    """Boolean (H, W) each: `frame` outside the lit field, `foreign` stickers and pen."""

    frame: Mask
    foreign: Mask

    @property
    def usable(self) -> Mask:
        return ~(self.frame | self.foreign)


def find_surroundings(pixels: NDArray[np.uint8]) -> Surroundings:
    """Mark the dark frame and coloured things that skin cannot be; sought on a smaller copy.

    Parameters
    ----------
    pixels : uint8 (H, W, 3)
        sRGB.
    """
    height, width = pixels.shape[:2]
    step = max(1, round(max(height, width) / _SEARCH_SIDE))
    small = np.asarray(Image.fromarray(pixels).reduce(step)) if step > 1 else pixels
    frame = _frame(small)
    foreign = _foreign(to_lab(small)) & ~frame
    grown = (m.repeat(step, axis=0).repeat(step, axis=1)[:height, :width] for m in (frame, foreign))
    return Surroundings(*grown)


def _frame(pixels: NDArray[np.uint8]) -> Mask:
    """Dark parts hanging together with a corner of the picture: a lesion at one side is no frame."""
    dark = np.maximum(np.maximum(pixels[..., 0], pixels[..., 1]), pixels[..., 2]) < 62
    height, width = dark.shape
    inset_y, inset_x = max(1, height // 40), max(1, width // 40)
    down, across = ((slice(n), slice(-n, None)) for n in (inset_y, inset_x))
    corners = [corner for corner in product(down, across) if dark[corner].mean() > 0.6]
    if not corners:
        return np.zeros_like(dark)
    marks, _ = ndimage.label(dark)
    found = {int(np.bincount(marks[corner].ravel()).argmax()) for corner in corners} - {0}
    return binary.dilated(np.isin(marks, list(found)), max(1, width // 100)) if found else np.zeros_like(dark)


def _means(layers: NDArray[np.float32]) -> NDArray[np.float32]:
    """Means of (C, H, W) over squares of three."""
    wide = np.pad(layers, [(0, 0), (1, 1), (1, 1)], mode="edge")
    down = wide[:, :-2] + wide[:, 1:-1] + wide[:, 2:]
    return np.asarray((down[..., :-2] + down[..., 1:-1] + down[..., 2:]) / np.float32(9))


def _foreign(lab: NDArray[np.float32]) -> Mask:
    """Green, blue, violet or glaring yellow: hues of stickers and pens, with their rims."""
    light, a, b = _means(np.moveaxis(lab, -1, 0))
    chroma = np.sqrt(a * a + b * b)
    green = (a < -7) & (chroma > 12)
    blue = (b < -9) & (chroma > 14)
    yellow = (b > 55) & (light > 60)
    size = max(1, lab.shape[1] // 128)
    if (green | blue | yellow).mean() > _CAST:
        return np.zeros_like(green)  # the whole picture has a cast: these hues say nothing about stickers
    core = binary.opened(green | blue | yellow)
    closed = binary.closed(core, size)
    return binary.dilated(closed, size + 1)
