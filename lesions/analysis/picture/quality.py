"""Judge whether a photograph is good enough, each point with a sentence that tells staff what to do."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.picture import resample
from lesions.analysis.picture.contour import Ring, feret
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.surroundings import Surroundings
from lesions.analysis.types import Quality, Scale
from lesions.analysis.wording import quality

FOCUS_LEAST = 0.22
CLIPPED_MOST = 0.02
GLARE_MOST = 0.01
HAIR_MOST = 0.10
FRAME_MOST = 0.03
PIXELS_LEAST = 150.0
SCALE_MOST = 0.03


def assess(
    pixels: NDArray[np.uint8],
    density: Array,
    hairs: Mask,
    around: Surroundings,
    mask: Mask | None,
    ring: Ring | None,
    zoom: float,
) -> tuple[Quality, ...]:
    """Judge the photograph; without an outline the middle of the picture stands in for the lesion.

    Parameters
    ----------
    pixels : uint8 (H, W, 3)
        sRGB.
    density : float32 (H, W, 3)
        Density above the skin, hair taken out.
    hairs : bool (H, W)
        Hair.
    around : Surroundings
        Frame and foreign things.
    mask, ring
        Lesion as pixels and as border, or None.
    zoom : float
        Pixels of the full picture per pixel here.

    Returns
    -------
    tuple of Quality
        focus, exposure, glare, hair, frame, resolution. The limits are common practice, no source.
    """
    where = mask if mask is not None else _middle(around)
    darkest = np.minimum(np.minimum(pixels[..., 0], pixels[..., 1]), pixels[..., 2])
    shining = darkest > 247
    clipped = ((darkest < 3) | shining) & around.usable
    lost = clipped.sum() / max(1, around.usable.sum())
    return (
        _focus(density, where),
        _share("exposure", lost, CLIPPED_MOST),
        _share("glare", shining[where].mean(), GLARE_MOST),
        _share("hair", hairs[where].mean(), HAIR_MOST),
        _contact(ring, around),
        _resolution(ring, zoom),
    )


def scales(stated: Scale | None, seen: Scale | None) -> tuple[Quality, ...]:
    """Hold the stated scale against the ruler in the picture; nothing where either is missing."""
    if stated is None or seen is None:
        return ()
    off = abs(seen.mm_per_px / stated.mm_per_px - 1)
    return (_share("scale", off, SCALE_MOST),)


def _middle(around: Surroundings) -> Mask:
    middle = np.zeros_like(around.frame)
    height, width = middle.shape
    middle[height // 4 : -height // 4, width // 4 : -width // 4] = True
    return middle


def _share(name: str, value: float, limit: float) -> Quality:
    return quality(name, value, limit, ok=bool(value <= limit))


def _focus(density: Array, where: Mask) -> Quality:
    """Fine structure over coarse: what a slight blur destroys is little in a picture blurred already."""
    near = resample.within(where, max(2, where.shape[1] // 60))
    rows, columns = np.nonzero(near.any(axis=1))[0], np.nonzero(near.any(axis=0))[0]
    box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    view, near = density[..., 1][box], near[box]
    once, twice, four, eight = (ndimage.gaussian_filter(view, s) for s in (1.0, 2.0, 4.0, 8.0))
    fine, coarse = once - twice, four - eight
    value = float(np.sqrt((fine[near] ** 2).mean() / max(1e-9, float((coarse[near] ** 2).mean()))))
    return quality("focus", value, FOCUS_LEAST, ok=value >= FOCUS_LEAST)


def _contact(ring: Ring | None, around: Surroundings) -> Quality:
    if ring is None:
        return quality("frame", None, FRAME_MOST, ok=True)
    return _share("frame", on_rim(ring, around), FRAME_MOST)


def on_rim(ring: Ring, around: Surroundings) -> float:
    """Share of the border that lies on the rim of the lit field, 0-1."""
    rim = np.ones_like(around.frame)
    rim[3:-3, 3:-3] = resample.within(around.frame, 3)[3:-3, 3:-3]
    height, width = rim.shape
    x, y = np.clip(ring[:, 0], 0, width - 1).astype(int), np.clip(ring[:, 1], 0, height - 1).astype(int)
    return float(rim[y, x].mean())


def _resolution(ring: Ring | None, zoom: float) -> Quality:
    if ring is None:
        return quality("resolution", None, PIXELS_LEAST, ok=True)
    across = feret(ring) * zoom
    return quality("resolution", across, PIXELS_LEAST, ok=across >= PIXELS_LEAST)
