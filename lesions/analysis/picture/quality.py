"""Judge whether a photograph is good enough, point by point."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lesions.analysis.picture import binary, blur, resample
from lesions.analysis.picture.contour import Ring, feret
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.surroundings import Surroundings
from lesions.analysis.types import Quality, Scale

FOCUS_LEAST = 0.22
CLIPPED_MOST = 0.02
GLARE_MOST = 0.01
HAIR_MOST = 0.10
FRAME_MOST = 0.03
PIXELS_LEAST = 150.0
SCALE_MOST = 0.03
_RIM = 3  # pixels from the end of the lit field


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
    usable = around.usable
    clipped = ((darkest < 3) | shining) & usable
    lost = binary.count(clipped) / max(1, binary.count(usable))
    return (
        _focus(density, where),
        _share("exposure", lost, CLIPPED_MOST),
        _share("glare", _part(shining, where), GLARE_MOST),
        _share("hair", _part(hairs, where), HAIR_MOST),
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


def _part(mask: Mask, where: Mask) -> float:
    return binary.count(mask & where) / binary.count(where)


def _share(name: str, value: float, limit: float) -> Quality:
    return Quality(name, round(float(value), 4), limit, bool(value <= limit))


def _focus(density: Array, where: Mask) -> Quality:
    """Fine structure over coarse: what a slight blur destroys is little in a picture blurred already."""
    near = resample.within(where, max(2, where.shape[1] // 60))
    box = binary.box(near, 0)
    view, near = density[..., 1][box], near[box]
    once, twice, four, eight = (blur.gaussian(view, s) for s in (1.0, 2.0, 4.0, 8.0))
    fine, coarse = once - twice, four - eight
    value = float(np.sqrt((fine[near] ** 2).mean() / max(1e-9, float((coarse[near] ** 2).mean()))))
    return _least("focus", value, FOCUS_LEAST)


def _least(name: str, value: float, limit: float) -> Quality:
    return Quality(name, round(value, 4), limit, value >= limit)


def _contact(ring: Ring | None, around: Surroundings) -> Quality:
    if ring is None:
        return Quality("frame", None, FRAME_MOST, True)
    return _share("frame", on_rim(ring, around), FRAME_MOST)


def on_rim(ring: Ring, around: Surroundings) -> float:
    """Share of the border that lies on the rim of the lit field, 0-1."""
    height, width = around.frame.shape
    x, y = np.clip(ring[:, 0], 0, width - 1).astype(int), np.clip(ring[:, 1], 0, height - 1).astype(int)
    rim = (np.minimum(x, width - 1 - x) < _RIM) | (np.minimum(y, height - 1 - y) < _RIM)
    return float((rim | resample.within(around.frame, _RIM)[y, x]).mean())


def _resolution(ring: Ring | None, zoom: float) -> Quality:
    if ring is None:
        return Quality("resolution", None, PIXELS_LEAST, True)
    return _least("resolution", feret(ring) * zoom, PIXELS_LEAST)
