"""Make one picture ready for measuring and comparing: pixels, even light, hair filled in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lesions.analysis.picture import hair, light, reading_process, resample, surroundings
from lesions.analysis.picture.allowance import USUAL, Allowance, UnreadablePicture
from lesions.analysis.picture.colour import to_lab
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.surroundings import Surroundings
from lesions.analysis.types import Outline

WORKING_WIDTH = 496  # a camera's 4000 pixels and more are then decoded at one eighth
SMALLEST_SIDE = 48


@dataclass(frozen=True)
class Prepared:
    """`density` and `lab` have hair closed over, `bare` has not; `zoom` = full pixels per pixel here."""

    pixels: NDArray[np.uint8]
    bare: Array
    density: Array
    lab: Array
    hairs: Mask
    around: Surroundings
    zoom: float
    full_width: int
    full_height: int

    @property
    def shape(self) -> tuple[int, int]:
        return self.pixels.shape[0], self.pixels.shape[1]

    def coarser(self, longer: int) -> Prepared:
        """The same by block means, its longer side about `longer` pixels; a rest at the rim is left out.

        Only `pixels`, of which nobody who asks for less asks more than their number, are every so-many-th instead.
        """
        step = max(1, round(max(self.shape) / longer))
        height, width = (n // step * step for n in self.shape)

        def shrunk(values: NDArray[Any]) -> Array:
            cut = values[:height, :width]
            if cut.ndim == 2:
                return resample.thinned(cut, step)
            return np.moveaxis(np.stack([resample.thinned(cut[..., c], step) for c in range(3)]), 0, -1)

        around = Surroundings(shrunk(self.around.frame) > 0.5, shrunk(self.around.foreign) > 0.5)
        return replace(
            self,
            pixels=self.pixels[:height:step, :width:step],
            density=shrunk(self.density),
            lab=shrunk(self.lab),
            hairs=shrunk(self.hairs) > 0.5,
            around=around,
            zoom=self.zoom * step,
        )

    def to_full(self, ring: Ring) -> Ring:
        return ring * self.zoom

    def from_full(self, outline: Outline) -> Ring:
        return np.array(outline.points, dtype=np.float64) / self.zoom


def picture(data: bytes, *, working_width: int = WORKING_WIDTH, allowance: Allowance = USUAL) -> Prepared:
    """Read a picture and take light and hair out of it.

    Raises
    ------
    UnreadablePicture
        As `reading_process.load`, and for pictures under `SMALLEST_SIDE` pixels.
    """
    read = reading_process.load(data, working_width=working_width, allowance=allowance)
    if min(read.pixels.shape[:2]) < SMALLEST_SIDE:
        raise UnreadablePicture("too_small", least=SMALLEST_SIDE)
    around = surroundings.find_surroundings(read.pixels)
    lit = light.even(read.pixels, around.usable)
    hairs = hair.find_hair(lit.density) & around.usable
    closed = hair.close_over(read.pixels, hairs)
    density = light.changed(lit, closed, hairs) if hairs.any() else lit.density
    layers = lit.density, density, to_lab(closed), hairs, around
    return Prepared(read.pixels, *layers, read.zoom, read.full_width, read.full_height)
