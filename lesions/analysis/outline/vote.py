"""Find the lesion by a vote: several channels each cut it out, and most of them decide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.outline.agreement import jaccard
from lesions.analysis.picture import binary, blur, light, resample
from lesions.analysis.picture.light import Array, Mask
from lesions.analysis.picture.surroundings import Surroundings

# Chosen on every second picture of an open collection with experts' outlines, judged on the others.
_TOWARDS_SKIN = 0.90  # experts draw wider than Otsu cuts: the level lies between skin (0) and Otsu (1)
_MAJORITY = 0.35
_CENTRAL = 0.6
_BRIDGE = 0.10  # of the piece's radius: pieces nearer than this to the best one belong to it
_WIDEN = 0.03
_LEAST_RANGE, _LEAST_PIXELS = 0.02, 1000
_SATURATION = 0.7  # density beyond this hardly counts: a black part must not decide where brown ends


@dataclass(frozen=True)
class Found:
    """The voted mask, and how far the voters agreed (mean Jaccard of each with the vote, 0-1)."""

    mask: Mask
    agreement: float


def find_outline(density: Array, lab: Array, around: Surroundings) -> Found:
    """Cut the lesion out.

    Parameters
    ----------
    density : float32 (H, W, 3)
        Density above the skin with hair taken out.
    lab : float32 (H, W, 3)
        CIELAB of the picture.
    around : Surroundings
        Frame and foreign things; never part of the lesion.

    Returns
    -------
    Found
        `mask` is empty where no channel shows anything.
    """
    empty = Found(np.zeros(around.frame.shape, dtype=bool), 0.0)
    if around.usable.sum() < _LEAST_PIXELS:
        return empty
    field = _Field(around)
    voters = [m for m in (_cut(c, field) for c in channels(density, lab, around)) if m.any()]
    if not voters:
        return empty
    share = np.add.reduce(voters, axis=0, dtype=np.uint8) / len(voters)
    raw = share >= _MAJORITY
    if not raw.any():
        raw = share >= share.max()
    mask = _tidy(raw, field)
    agreement = float(np.mean([jaccard(v, mask) for v in voters])) * len(voters) / 5
    return Found(mask, agreement)


def channels(density: Array, lab: Array, around: Surroundings) -> list[Array]:
    """Five views in which lesions stand out: blue, green, mean, principal density; colour distance."""
    size = density.shape[1]
    smooth = _smoothed(density, size / 170)
    usable = around.usable
    grey, every = light.grey(smooth), max(1, usable.sum() // 5000)
    samples = np.stack([smooth[..., c][usable][::every] for c in range(3)])
    principal = np.linalg.eigh(np.cov(samples))[1][:, -1]
    principal = principal * np.sign(principal.sum())
    bare = usable & (np.abs(grey) < 0.15)
    skin = np.array([np.median(lab[..., c][bare]) for c in range(3)])
    apart = _smoothed(lab, size / 170) - skin
    away = np.sqrt(apart[..., 0] ** 2 + apart[..., 1] ** 2 + apart[..., 2] ** 2)
    views = [smooth[..., 2], smooth[..., 1], grey, smooth @ principal.astype(np.float32)]
    limits = (1.0, 1.0, 1.0, 1.5)
    curbed = [np.tanh(v / (_SATURATION * most)) for v, most in zip(views, limits, strict=True)]
    return [*curbed, np.tanh(away / (40 * _SATURATION))]


def _smoothed(layers: Array, sigma: float) -> Array:
    """Gaussian of (H, W, 3), channel by channel."""
    return np.moveaxis(blur.gaussian(np.moveaxis(layers, -1, 0), sigma), 0, -1)


class _Field:
    """What is common to all voters of one picture."""

    def __init__(self, around: Surroundings) -> None:
        self.around, self.usable = around, around.usable
        height, width = around.frame.shape
        down, across = ((np.arange(n) - n / 2) / (n / 2) for n in (height, width))
        self.worth = np.exp(-((np.hypot(across, down[:, None]) / _CENTRAL) ** 2))
        rim = resample.within(around.frame, 2)
        rim[:2], rim[-2:], rim[:, :2], rim[:, -2:] = True, True, True, True
        self.rim = rim & ~around.frame


def _cut(channel: Array, field: _Field) -> Mask:
    ordered = np.sort(channel[field.usable])  # once, for all that is asked: each question alone takes longer
    low, skin, high = (_at(ordered, share) for share in (0.01, 0.30, 0.995))
    if high - low < _LEAST_RANGE:
        return np.zeros(channel.shape, dtype=bool)
    level = skin + _TOWARDS_SKIN * (otsu(np.clip(ordered, low, high)) - skin)
    return _tidy((channel > level) & field.usable, field)


def _at(ordered: Array, share: float) -> float:
    """The value below which a share of the ordered ones lies, between two of them linearly."""
    place = share * (len(ordered) - 1)
    below = int(place)
    low, high = float(ordered[below]), float(ordered[min(below + 1, len(ordered) - 1)])
    return low + (high - low) * (place - below)


def otsu(ordered: Array) -> float:
    """Threshold of greatest between-class variance (Otsu 1979) over 256 bins of ordered values."""
    edges = np.linspace(ordered[0], ordered[-1], 257)
    counts = np.diff(np.searchsorted(ordered, edges[1:-1]), prepend=0, append=len(ordered))
    centres = (edges[:-1] + edges[1:]) / 2
    below = np.cumsum(counts)
    above = below[-1] - below
    sums = np.cumsum(counts * centres)
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = sums / below - (sums[-1] - sums) / above
        variance = np.nan_to_num(below * above * gap**2)
    return float(centres[int(variance.argmax())])


def _tidy(mask: Mask, field: _Field) -> Mask:
    """Keep the piece that is large and central (and what lies close to it), closed and without holes."""
    size = max(1, mask.shape[1] // 150)
    opened = binary.opened(mask, size)
    marks, count = ndimage.label(opened)
    if count == 0:
        return np.zeros_like(mask)
    best = opened if count == 1 else marks == int(_scores(marks, count, field).argmax()) + 1
    return np.asarray(_rounded(marks, count, best) & ~field.around.frame, dtype=bool)


def _rounded(marks: NDArray[np.int32], count: int, best: Mask) -> Mask:
    """The best of the numbered pieces with its near neighbours, gaps closed, holes filled, a little widened."""
    radius = np.sqrt(best.sum() / np.pi)
    gap = max(1.0, _BRIDGE * radius)
    met = best
    if count > 1:
        near = np.zeros(count + 1, dtype=bool)
        near[marks[resample.within(best, gap)]] = True
        near[0] = False
        met = near[marks]
    inner = int(gap) + 2
    padded = np.pad(met, inner)
    rows, columns = np.nonzero(padded.any(axis=1))[0], np.nonzero(padded.any(axis=0))[0]
    box = slice(rows[0] - inner, rows[-1] + inner + 1), slice(columns[0] - inner, columns[-1] + inner + 1)
    wide = resample.within(padded[box], gap)
    closed = ~resample.within(~wide, gap - _WIDEN * radius)
    out = np.zeros_like(padded)
    out[box] = binary.filled(closed)
    return np.asarray(out[inner:-inner, inner:-inner], dtype=bool)


def _scores(marks: NDArray[np.int32], count: int, field: _Field) -> Array:
    """Area, weighed down away from the middle and along the frame or the picture's rim."""
    numbers = marks.ravel()
    worth = np.bincount(numbers, field.worth.ravel())[1:]
    contact = np.bincount(numbers[field.rim.ravel()], minlength=count + 1)[1:]
    return np.asarray(worth / (1 + contact / np.sqrt(np.bincount(numbers)[1:])), dtype=np.float32)
