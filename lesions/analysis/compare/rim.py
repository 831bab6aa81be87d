"""How far the lesion's rim moved over the skin, seen by its fall of density, whatever the later outline says.

Two outlines of one lesion, found independently, differ by some per cent of the area; the fall of density at the rim,
looked for again from the earlier picture in the later one, by less than one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.compare import registration
from lesions.analysis.measures.border import outward
from lesions.analysis.picture import contour, light
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.types import Delta, Measurement, Region, Registration

NAME = "rim_area"
# Of the area, one standard deviation. tests/bench/pairs.py: 0.4 % where nothing grew; the rest for skin under a contact
# plate, which stretches by some per cent (common practice, no source).
ERROR = 0.015
_SECTORS, _LEAST_SECTORS = 24, 12
# Where this many are found and none went outwards by this part of the radius, nothing grew: of the pairs whose outline
# alone had grown none reached 0.02, of 160 that had grown by a tenth and more one did not, with 13 sectors found.
_STILL, _STILL_SECTORS = 0.02, 15
_STEP = 0.01  # of the lesion's radius, between samples across the rim
_WINDOW, _REACH = 20, 30  # steps: how much of the fall is looked for again, and how far off
_BLUR = 0.02  # of the radius
_LEAST_FALL = 0.04  # density: what falls by less is not looked for
_UNLIKE = 0.07  # of the fall's own variance: what differs by more is another rim, or a new patch lies on it


@dataclass(frozen=True)
class Moved:
    """Change of the area by what of the rim was found again, relative; `ring`: the earlier border moved so.

    `still`: most of it was found, and no part went outwards.
    """

    share: float
    ring: Ring
    still: bool

    def delta(self) -> Delta:
        """As a row beside the measures: the area within the rim, the earlier one as 1."""
        change, least = float(f"{self.share:.4g}"), round(1.96 * ERROR, 4)
        return Delta(NAME, "share", 1.0, 1.0 + change, change, ERROR, least, abs(change) > least)

    @property
    def went(self) -> int:
        """1 where the rim moved outwards beyond its error, -1 inwards, else 0."""
        return int(np.sign(self.share)) if abs(self.share) > 1.96 * ERROR else 0


def moved(first: Prepared, second: Prepared, earlier: Measurement, laid: Registration) -> Moved | None:
    """Look for the earlier rim in the later picture; None where they do not align or too little of it is found.

    Parameters
    ----------
    first, second : Prepared
        Earlier and later picture.
    earlier : Measurement
        Its outline says where the rim is.
    laid : Registration
        How the two lie to each other.
    """
    if laid.matrix is None or earlier.outline is None or earlier.doubt:
        return None
    ring = contour.even(first.from_full(earlier.outline))
    radius = float(np.sqrt(contour.area(ring) / np.pi))
    after = registration.warped(second, first, laid, light.grey(second.density))
    covered = (second.hairs | ~second.around.usable).astype(np.float32)
    hidden = registration.warped(second, first, laid, covered)
    seen = np.isfinite(after) & (hidden <= 0.1) & ~first.hairs & first.around.usable
    steps = _steps(light.grey(first.density), np.nan_to_num(after), seen, ring, radius)
    return None if steps is None else _carried(ring, steps, radius)


def unconfirmed(area: Delta | None, found: Moved | None, patches: tuple[Region, ...]) -> bool:
    """Say whether the outline moved while the rim stayed, or drew in where a new dark patch hides what the rim did."""
    if area is None or not area.beyond or area.delta is None or not area.earlier:
        return False
    if area.delta > 0:
        return found is not None and found.still
    if found is not None:
        return found.share > area.delta / area.earlier / 2
    return any(patch.kind in ("new_colour", "darker") for patch in patches)


def _carried(ring: Ring, steps: NDArray[np.float64], radius: float) -> Moved:
    """Sectors that were not found again count as moving with the others, and are drawn where they were."""
    step = float(np.nanmean(steps)) * radius
    share = (step * contour.perimeter(ring) + np.pi * step**2) / contour.area(ring)
    at = (np.arange(len(ring)) / len(ring) * _SECTORS - 0.5) % _SECTORS
    each = np.interp(at, np.arange(_SECTORS), np.nan_to_num(steps), period=_SECTORS)
    still = np.isfinite(steps).sum() >= _STILL_SECTORS and float(np.nanmax(steps)) < _STILL
    return Moved(share, ring + outward(ring) * each[:, None] * radius, bool(still))


def _steps(before: Array, after: Array, seen: Mask, ring: Ring, radius: float) -> NDArray[np.float64] | None:
    """How far each sector of the rim moved outwards, in radii; NaN where it is not found, None where too few are."""
    offsets = np.arange(-_WINDOW - _REACH, _WINDOW + _REACH + 1) * _STEP * radius
    where = ring[:, None, :] + outward(ring)[:, None, :] * offsets[None, :, None]
    at = [where[..., 1] - 0.5, where[..., 0] - 0.5]
    blur = max(0.5, _BLUR * radius)
    one, two = (
        ndimage.map_coordinates(ndimage.gaussian_filter(values, blur), at, order=1, mode="nearest")
        for values in (before, after)
    )
    known = ndimage.map_coordinates(seen.astype(np.float32), at, order=1, cval=0.0) > 0.9
    parts = np.array_split(np.arange(len(ring)), _SECTORS)
    steps = np.array([_step(one[part], two[part], known[part]) for part in parts])
    return steps if np.isfinite(steps).sum() >= _LEAST_SECTORS else None


def _step(one: Array, two: Array, seen: Mask) -> float:
    """How far the mean fall across one sector moved; NaN where it is slight or not found again."""
    enough = seen.mean(axis=0) > 0.5
    weight = seen / np.maximum(seen.sum(axis=0), 1)
    fall, later = (one * weight).sum(axis=0)[_REACH:-_REACH], (two * weight).sum(axis=0)
    quarter = len(fall) // 4
    if not enough[_REACH:-_REACH].all() or fall[:quarter].mean() - fall[-quarter:].mean() < _LEAST_FALL:
        return np.nan
    apart = (np.lib.stride_tricks.sliding_window_view(later, len(fall)) - fall).var(axis=1)
    apart[~np.lib.stride_tricks.sliding_window_view(enough, len(fall)).all(axis=1)] = np.inf
    best = int(apart.argmin())
    if best in (0, len(apart) - 1) or apart[best] > _UNLIKE * fall.var():
        return np.nan
    low, here, high = apart[best - 1 : best + 2]
    between = (low - high) / (2 * max(low + high - 2 * here, 1e-12)) if np.isfinite(low + high) else 0.0
    return (best + float(np.clip(between, -0.5, 0.5)) - _REACH) * _STEP
