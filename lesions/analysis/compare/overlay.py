"""Lay one view on another by a similarity: a turn, a zoom and a shift."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.picture.light import Array, Mask

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class View:
    """A density image (H, W), where it may be trusted, and full pixels per pixel."""

    image: Array
    usable: Mask
    zoom: float


@dataclass(frozen=True)
class Similarity:
    """(x, y) -> (a x - b y + tx, b x + a y + ty), pixel centres at +0.5."""

    a: float
    b: float
    tx: float
    ty: float

    def apply(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        return self.a * x - self.b * y + self.tx, self.b * x + self.a * y + self.ty

    @property
    def zoom(self) -> float:
        return math.hypot(self.a, self.b)

    def with_zoom(self, zoom: float, x: float, y: float) -> Similarity:
        """The same turn at another zoom, the point (x, y) going where it went."""
        a, b = self.a * zoom / self.zoom, self.b * zoom / self.zoom
        return Similarity(
            a, b, self.tx + (self.a - a) * x - (self.b - b) * y, self.ty + (self.b - b) * x + (self.a - a) * y
        )


def laid(one: View, two: View, way: Similarity) -> tuple[Array, Mask]:
    """Return the later image on the earlier grid, and where it is to be trusted."""
    height, width = one.image.shape
    y, x = np.mgrid[0:height, 0:width] + 0.5
    u, v = way.apply(x, y)
    image = ndimage.map_coordinates(two.image, [v - 0.5, u - 0.5], order=1, mode="nearest")
    known = ndimage.map_coordinates(two.usable.astype(np.uint8), [v - 0.5, u - 0.5], order=0, cval=0) > 0
    return image, known
