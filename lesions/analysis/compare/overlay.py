"""One view laid on another: refining a similarity by Gauss-Newton, and judging the fit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.picture.light import Array, Mask

Floats = NDArray[np.float64]
_LEVELS = ((8.0, 8, 12), (4.0, 4, 12), (2.0, 2, 10), (1.0, 2, 8))  # blur, spacing of samples, most rounds
_LEAST_SAMPLES = 60
_BLOCK = 24


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


def refine(
    one: View, two: View, guess: Similarity, where: Mask, zoom: float | None = None
) -> Similarity | None:
    """Sharpen a guess, coarse to fine, on robustly weighted density differences.

    Parameters
    ----------
    one, two : View
        Earlier and later.
    guess : Similarity
        From pixels of `one` to pixels of `two`.
    where : bool (H, W)
        Region of `one` that counts.
    zoom : float, optional
        Pixels of `two` per pixel of `one` where it is known; the fit then only turns and shifts.

    Returns
    -------
    Similarity or None
        None where the two hardly overlap or the fit runs away.
    """
    way = guess
    for blur, spacing, rounds in _LEVELS:
        first = ndimage.gaussian_filter(one.image, blur)
        second = ndimage.gaussian_filter(two.image, blur)
        slopes = [ndimage.sobel(second, axis) / 8 for axis in (1, 0)]
        spots = np.nonzero(where[::spacing, ::spacing])
        y, x = ((s * spacing + 0.5).astype(np.float64) for s in spots)
        target = first[spots[0] * spacing, spots[1] * spacing]
        for _ in range(rounds):
            step = _step(way, x, y, target, second, slopes, two.usable)
            if step is None:
                return None
            way, moved = step
            if zoom is not None:
                way = way.with_zoom(zoom, float(x.mean()), float(y.mean()))
            if moved < 0.01:
                break
    return way if 0.3 < way.zoom * two.zoom / one.zoom < 3.3 else None


def _step(
    way: Similarity, x: Floats, y: Floats, target: Array, second: Array, slopes: list[Array], usable: Mask
) -> tuple[Similarity, float] | None:
    """One Gauss-Newton step; the second value is how far the samples moved, in pixels."""
    u, v = way.apply(x, y)
    height, width = second.shape
    kept = (u > 1) & (v > 1) & (u < width - 1) & (v < height - 1)
    kept[kept] = usable[v[kept].astype(int), u[kept].astype(int)]
    if kept.sum() < max(_LEAST_SAMPLES, 0.3 * len(x)):
        return None
    at = [v[kept] - 0.5, u[kept] - 0.5]
    seen, du, dv = (ndimage.map_coordinates(i, at, order=1) for i in (second, *slopes))
    px, py, wanted = x[kept], y[kept], target[kept]
    columns = [du * px + dv * py, dv * px - du * py, du, dv, seen, np.ones_like(seen)]
    basis = np.stack(columns, axis=1).astype(np.float64)
    gain = _gain(seen, wanted)
    rest = wanted - gain[0] * seen - gain[1]
    spread = 1.4826 * float(np.median(np.abs(rest))) + 1e-4
    weight = 1 / (1 + (rest / (2 * spread)) ** 2)
    basis[:, :4] *= gain[0]
    scaled = basis * weight[:, None]
    size = np.sqrt(np.maximum((scaled * basis).sum(axis=0), 1e-12))
    normal, target = (scaled.T @ basis) / np.outer(size, size), scaled.T @ rest / size
    solved = np.linalg.lstsq(normal, target, rcond=1e-9)[0] / size
    new = Similarity(way.a + solved[0], way.b + solved[1], way.tx + solved[2], way.ty + solved[3])
    nu, nv = new.apply(px, py)
    return new, float(np.hypot(nu - u[kept], nv - v[kept]).max())


def _gain(seen: Array, wanted: Array) -> tuple[float, float]:
    """Factor and offset that take later density to earlier, kept within what light can do."""
    spread = float(seen.std()) + 1e-6
    slope = float(np.mean((seen - seen.mean()) * (wanted - wanted.mean()))) / spread**2
    factor = float(np.clip(slope, 0.5, 2.0))
    return factor, float(wanted.mean() - factor * seen.mean())


def laid(one: View, two: View, way: Similarity) -> tuple[Array, Mask]:
    """Return the later image on the earlier grid, and where it is to be trusted."""
    height, width = one.image.shape
    y, x = np.mgrid[0:height, 0:width] + 0.5
    u, v = way.apply(x, y)
    image = ndimage.map_coordinates(two.image, [v - 0.5, u - 0.5], order=1, mode="nearest")
    known = ndimage.map_coordinates(two.usable.astype(np.uint8), [v - 0.5, u - 0.5], order=0, cval=0) > 0
    return image, known


def structure(one: View, two: View, way: Similarity, where: Mask) -> float:
    """Correlation of structure finer than the lesion itself: two dark blobs alike in shape do not pass."""
    moved, known = laid(one, two, way)
    common = where & known
    if common.sum() < 0.4 * where.sum() or common.sum() < 200:
        return -1.0
    blur = float(np.clip(np.sqrt(where.sum()) / 16, 3.0, 8.0))
    first, second = (_band(i, blur)[common] for i in (one.image, moved))
    first, second = (np.clip(b, *np.percentile(b, (1, 99))) for b in (first, second))
    together = np.corrcoef(first, second)[0, 1]
    return float(together) if np.isfinite(together) else -1.0


def _band(image: Array, blur: float) -> Array:
    band: Array = ndimage.gaussian_filter(image, 1.2) - ndimage.gaussian_filter(image, blur)
    return band


def residual(one: View, two: View, way: Similarity, where: Mask) -> float:
    """Median shift still left between blocks of the two, in view pixels; infinite where no block tells."""
    moved, known = laid(one, two, way)
    first, second = _band(one.image, 8.0), _band(moved, 8.0)
    gy, gx = ndimage.sobel(second, 0) / 8, ndimage.sobel(second, 1) / 8
    weight = (where & known).astype(np.float32)
    rest = first - second
    products = (gx * gx, gx * gy, gy * gy, gx * rest, gy * rest)
    sums = [ndimage.gaussian_filter(p * weight, _BLOCK / 3) for p in products]
    xx, xy, yy, xr, yr = (s[:: _BLOCK // 2, :: _BLOCK // 2] for s in sums)
    inside = weight[:: _BLOCK // 2, :: _BLOCK // 2] > 0
    det = xx * yy - xy * xy
    firm = inside & (det > 0.05 * (xx + yy) ** 2) & (xx + yy > np.percentile(xx + yy, 60))
    if firm.sum() < 4:
        return float("inf")
    du = (yy * xr - xy * yr)[firm] / det[firm]
    dv = (xx * yr - xy * xr)[firm] / det[firm]
    return float(np.sqrt(np.median(du**2 + dv**2)))
