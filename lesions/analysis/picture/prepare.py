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
    """`density` and `lab` have hair closed over, `levels` (of `light`) has not; `zoom` = full pixels per pixel here."""

    pixels: NDArray[np.uint8]
    levels: NDArray[np.uint8]
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
        """The same, its longer side about `longer` pixels; a rest at the rim is left out.

        What an outline is found by are means of blocks; the rest, which nobody asks of a coarser picture, are every
        so-many-th pixel.
        """
        step = max(1, round(max(self.shape) / longer))
        height, width = (n // step * step for n in self.shape)
        every = slice(0, height, step), slice(0, width, step)

        def means(values: NDArray[Any]) -> Array:
            return np.moveaxis(resample.block_means(np.moveaxis(values, -1, 0), step), 0, -1)

        frame, foreign = (
            resample.block_means(m, step) > 0.5 for m in (self.around.frame, self.around.foreign)
        )
        return replace(
            self,
            pixels=self.pixels[every],
            levels=self.levels[every],
            density=means(self.density),
            lab=means(self.lab),
            hairs=self.hairs[every],
            around=Surroundings(frame, foreign),
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
    levels = light.levels(lit.density)
    hairs = hair.find_hair(levels) & around.usable
    closed = hair.close_over(read.pixels, hairs)
    light.change(lit, closed, hairs)
    layers = levels, lit.density, to_lab(closed), hairs, around
    return Prepared(read.pixels, *layers, read.zoom, read.full_width, read.full_height)
