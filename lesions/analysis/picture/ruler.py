"""Millimetres per pixel from a ruler engraved in the contact plate, or nothing: a wrong scale is worse than none.

A ruler is a long straight dark line with ticks standing on one side at equal distances. Of several rows of ticks
the longest that repeats at least six times inside a contact plate's field counts as millimetres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from lesions.analysis.picture import pieces, resample
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.types import Scale

FIELD_MM = (9.0, 30.0)  # longer side of what a contact plate shows; common practice, no source
_LEAST_DENSITY = 0.07
_SHORTEST = 1 / 6  # of the longer side: a ruler's line
_TEETH, _PRESENT, _CROOKED, _UNSURE = 6, 0.85, 0.06, 0.005
_LIKENESS = 0.40
_ALIKE = 2.0
_STEP = 0.5  # pixels between samples along the line
_MOST_PIECES, _VOTES = 12, 1500
_ANGLES = np.radians(np.arange(0, 180, 1.5))
_AT_ONCE = 20  # angles
_LEAST_ERROR = 0.005  # common practice, no source: plate and skin do not lie in one plane exactly

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ruler:
    """`period` in pixels per millimetre with its relative error; `line` its two ends, x, y."""

    period: float
    rel_error: float
    line: Ring
    teeth: int


@dataclass(frozen=True)
class _Comb:
    """`period` in pixels, its relative error, and where along the line each tooth stands, in samples."""

    period: float
    error: float
    places: NDArray[np.int_]


def scale(levels: NDArray[np.uint8], zoom: float) -> Scale | None:
    """Look for a ruler and turn it into millimetres per pixel of the full picture.

    Parameters
    ----------
    levels : uint8 (H, W)
        Density above the skin in steps (`light.levels`), with hair and ruler still in it.
    zoom : float
        Full pixels per pixel here.

    Returns
    -------
    Scale or None
        None wherever ticks are not plain to see.
    """
    found = find_ruler(levels)
    if found is None:
        return None
    return Scale(1 / (found.period * zoom), "ruler", round(math.hypot(found.rel_error, _LEAST_ERROR), 4))


def find_ruler(levels: NDArray[np.uint8]) -> Ruler | None:
    """Return the ruler with most teeth in the picture, None where there is none beyond doubt.

    Parameters
    ----------
    levels : uint8 (H, W)
        Density above the skin in steps (`light.levels`).
    """
    longer = max(levels.shape)
    ridges = levels - resample.opened(levels, max(3, int(longer / 60) | 1))
    dark = ridges > _LEAST_DENSITY * 80
    lines = (_line(piece, dark) for piece in _long_pieces(dark, longer))
    rulers = [r for r in (_read(ridges, line, longer) for line in lines if line is not None) if r is not None]
    return max(rulers, key=lambda r: r.teeth, default=None)


def _long_pieces(dark: Mask, longer: int) -> list[Floats]:
    """Points (x, y) of each connected dark piece long enough to hold a ruler's line, the longest first."""
    long = np.flatnonzero(pieces.reaching(dark, longer * _SHORTEST))
    found = pieces.connected(*np.divmod(long, dark.shape[1]))
    spans = found.spans
    longest = [n for n in np.argsort(-spans, kind="stable")[:_MOST_PIECES] if spans[n] > longer * _SHORTEST]
    members = (found.numbers == n for n in longest)
    return [np.stack([found.columns[here], found.rows[here]], axis=1) + 0.5 for here in members]


def _line(points: Floats, dark: Mask) -> Ring | None:
    """Ends of the straight line that holds most points (Hough 1962), None where it has gaps."""
    normal, middle = _voted(points[:: max(1, len(points) // _VOTES)])
    for reach in (2.5, 1.5, 1.2):
        near = points[np.abs(points @ normal - middle) < reach]
        if len(near) < 20:
            return None
        centre = near.mean(axis=0)
        apart = near - centre
        normal = np.linalg.eigh(apart.T @ apart)[1][:, 0]
        middle = float(centre @ normal)
    near = points[np.abs(points @ normal - middle) < 1.5]
    along = np.array([-normal[1], normal[0]])
    place = near @ along
    start, stop = float(place.min()), float(place.max())
    covered = len(np.unique(place.astype(int))) / max(1.0, stop - start)
    if stop - start < max(dark.shape) * _SHORTEST or covered < 0.7:
        return None
    return np.stack([along * start + normal * middle, along * stop + normal * middle])


def _voted(points: Floats) -> tuple[Floats, float]:
    """Normal of the line that most points vote for and its distance along it, the first of several as good.

    A few angles at a time, so that what is reckoned stays in the processor's cache.
    """
    x, y = points.T.copy()
    most, found = 0, (np.zeros(2), 0.0)
    for start in range(0, len(_ANGLES), _AT_ONCE):
        angles = _ANGLES[start : start + _AT_ONCE, None]
        cosine, sine = np.cos(angles), np.sin(angles)
        offsets = cosine * x
        offsets += sine * y
        low = offsets.min(axis=1, keepdims=True)
        offsets -= low
        places = offsets.astype(np.int64)
        size = int(places.max()) + 1
        places += np.arange(len(angles))[:, None] * size
        votes = np.bincount(places.ravel())
        best = int(votes.argmax())
        if votes[best] > most:
            which, where = divmod(best, size)
            most = int(votes[best])
            found = np.array([cosine[which, 0], sine[which, 0]]), float(low[which, 0]) + where + 0.5
    return found


def _read(ridges: NDArray[np.uint8], line: Ring, longer: int) -> Ruler | None:
    """Read the ticks beside a line, on either side, from their far ends inwards."""
    length = float(np.hypot(*(line[1] - line[0])))
    along = (line[1] - line[0]) / length
    stops = np.arange(0, length, _STEP)
    reach = np.arange(max(2.0, longer / 200), longer / 18)
    for side in (1, -1):
        normal = np.array([-along[1], along[0]]) * side
        where = line[0] + stops[:, None, None] * along + reach[None, :, None] * normal
        seen = resample.between(ridges, where[..., 0], where[..., 1], beyond=0)
        ticks = np.arange(len(reach) - 3, -1, -2)
        rows = (seen[:, ticks] + seen[:, ticks + 1] + seen[:, ticks + 2]).T / np.float32(3)
        for far, profile, rough in zip(ticks, rows, _repeats(rows, longer), strict=True):
            comb = None if rough is None else _teeth(ndimage.gaussian_filter1d(profile, 0.5 / _STEP), rough)
            if comb is not None:
                even = _even(seen[:, far:], comb)
                return Ruler(comb.period, comb.error, line, len(comb.places)) if even else None
    return None


def _even(seen: Array, comb: _Comb) -> bool:
    """Whether every second tooth reaches as far out as its neighbours: else half millimetres may be counted."""
    tall = np.array([seen[max(0, p - 1) : p + 2].max(axis=0).sum() for p in comb.places])
    one, other = float(np.median(tall[::2])), float(np.median(tall[1::2]))
    return max(one, other) < _ALIKE * min(one, other)


def _repeats(profiles: Array, longer: int) -> list[float | None]:
    """First strong peak of the autocorrelation of each profile (N, L), in pixels; None where it is no ruler's."""
    shortest, longest = longer / FIELD_MM[1], longer / FIELD_MM[0]
    size, plain = profiles.shape[1], profiles.max(axis=1) >= _LEAST_DENSITY * 40
    found: list[float | None] = [None] * len(profiles)
    if size * _STEP < _TEETH * shortest or not plain.any():
        return found
    even = profiles[plain] - profiles[plain].mean(axis=1, keepdims=True)
    wide = fft.next_fast_len(2 * size, real=True)
    likeness = fft.irfft(np.abs(fft.rfft(even, wide)) ** 2, wide)[:, : int(longest / _STEP) + 2]
    likeness *= size / (size - np.arange(likeness.shape[1])).clip(1)
    likeness /= np.maximum(likeness[:, :1], 1e-9)
    for which, one in zip(np.flatnonzero(plain), likeness, strict=True):
        found[which] = _first(one, shortest)
    return found


def _first(likeness: Floats, shortest: float) -> float | None:
    """The first strong peak, if it is not too near."""
    peaks = np.nonzero((likeness[1:-1] > likeness[:-2]) & (likeness[1:-1] >= likeness[2:]))[0] + 1
    if len(peaks) == 0:
        return None
    strong = peaks[likeness[peaks] > max(_LIKENESS, 0.75 * float(likeness[peaks].max()))]
    return float(strong[0] * _STEP) if len(strong) and strong[0] * _STEP >= shortest else None


def _teeth(profile: Array, rough: float) -> _Comb | None:
    """Fit equally spaced teeth: most must be there, none far from its place, little between them."""
    step, size = rough / _STEP, len(profile)
    combs = (np.arange(0, step)[:, None] + np.arange(0, size, step)).astype(int)
    within = combs < size
    sums = np.where(within, profile[np.minimum(combs, size - 1)], 0).sum(axis=1) / within.sum(axis=1)
    places, numbers, missing = [], [], 0
    place, number = float(np.argmax(sums)), 0
    level = 0.4 * float(max(sums))
    while place < size:
        low = max(0, int(place - 0.25 * step))
        window = profile[low : int(place + 0.25 * step) + 1]
        peak = int(window.argmax())
        if window[peak] > level:
            exact = low + peak
            places.append(exact)
            numbers.append(number)
            place = 0.5 * place + 0.5 * exact
        else:
            missing += 1
        place, number = place + step, number + 1
    return _fitted(np.array(places, float), np.array(numbers, float), missing, float(max(sums)), profile)


def _fitted(places: Floats, numbers: Floats, missing: int, high: float, profile: Array) -> _Comb | None:
    if len(places) < _TEETH or len(places) < _PRESENT * (len(places) + missing):
        return None
    slope, start = np.polyfit(numbers, places, 1)
    rest = places - (slope * numbers + start)
    spread = float(np.sqrt((rest**2).sum() / (len(rest) - 2)))
    error = spread / math.sqrt(float(((numbers - numbers.mean()) ** 2).sum())) / slope
    between = (places[:-1] + np.diff(places) / 2).astype(int)
    if spread > _CROOKED * slope or error > _UNSURE or float(np.median(profile[between])) > 0.4 * high:
        return None
    return _Comb(float(slope * _STEP), float(error), places.astype(int))
