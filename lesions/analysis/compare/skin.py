"""Find the skin around the lesion again: look for small patches of it one by one, and take what most agree on.

A lesion may have grown, so nothing on it or close to it says how far away the camera was. Skin further out holds still.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from lesions.analysis.compare.overlay import Floats, Similarity, View, laid
from lesions.analysis.picture.light import Array, Mask

_SIZES = (
    (32, 16),
    (24, 8),
)  # side of a patch and step to the next, in view pixels: the smaller where skin is scarce
_MANY, _MOST = 40, 100
_SHARE = 0.55  # of a patch that must be skin
_FINE, _COARSE = 1.0, 6.0  # blurs between which skin tells one place from another
_LIKE = 0.30  # correlation from which a patch counts as found
_APART = 48  # view pixels between two patches that a similarity is tried through
_TOLERANCE = 1.5  # view pixels by which a patch may miss and still agree
_REACHES = (24, 8, 4)  # how far a patch is looked for, round by round
_PAIRS_OF = 40  # patches, the likest, through two of which similarities are tried
_ZOOM_ERROR_MOST = 0.01  # of what agrees in one small corner nothing says how far away the camera was
_HOPELESS = 0.12  # share that agrees in the first round below which the guess is given up
LEAST_PATCHES = 12
LEAST_AGREEING = (
    6,
    0.4,
)  # patches, and a share of those looked for on top: other people's skin reached 13 of 29, 24 of 134
# Fewer are enough where they are plainly the same skin, for a lesion that grew much moves the skin round it: together,
# each, and so far apart that they say the zoom. Of 192 pairs of different people none came beyond 7.7 together, the
# best mean of more than ten was 0.64; skin that a lesion grown by half took along reached 15.5, zoom error 0.0045.
_PLAINLY = (14.0, 0.68, 0.0025)


@dataclass(frozen=True)
class Hold:
    """What the skin says: the similarity, how many patches were looked for, how many agree, how far those miss.

    `like`: mean correlation of those that agree.
    """

    way: Similarity
    middle: tuple[float, float]
    sought: int
    agreeing: int
    miss: float
    zoom_error: float
    like: float

    @property
    def firm(self) -> bool:
        few, share = LEAST_AGREEING
        many = self.agreeing >= few + share * self.sought
        together, each, apart = _PLAINLY
        plainly = self.agreeing * self.like >= together and self.like >= each
        return self.zoom_error < (_ZOOM_ERROR_MOST if many else apart if plainly else 0)


def band(view: View, skin: Mask) -> Array:
    """Structure of the skin, 0 elsewhere; blurs see skin only, so that no border of the mask shines in."""
    weight = skin.astype(np.float32)
    fine, coarse = (_blurred(view.image, weight, sigma) for sigma in (_FINE, _COARSE))
    rest = np.where(skin, fine - coarse, 0)
    level = 3 * float(np.sqrt(np.mean(rest[skin] ** 2))) if skin.any() else 1.0
    return np.asarray(np.clip(rest, -level, level), dtype=np.float32)


def _blurred(image: Array, weight: Array, sigma: float) -> Array:
    cover = ndimage.gaussian_filter(weight, sigma)
    return np.asarray(ndimage.gaussian_filter(image * weight, sigma) / np.maximum(cover, 1e-3))


def patches(skin: Mask) -> tuple[NDArray[np.int_], int]:
    """Corners (row, column) of the patches that are skin for the most part, and their side."""
    corners = np.zeros((0, 2), dtype=int)
    for side, step in _SIZES:
        corners = _corners(skin, side, step)
        if len(corners) >= _MANY:
            break
    return corners[:: 1 + len(corners) // (_MOST + 1)], side


def _corners(skin: Mask, side: int, step: int) -> NDArray[np.int_]:
    height, width = skin.shape
    if height < side or width < side:
        return np.zeros((0, 2), dtype=int)
    rows, columns = np.mgrid[0 : height - side + 1 : step, 0 : width - side + 1 : step]
    r, c = rows.ravel(), columns.ravel()
    sums = np.pad(skin.astype(np.int64).cumsum(0).cumsum(1), ((1, 0), (1, 0)))
    inside = sums[r + side, c + side] - sums[r, c + side] - sums[r + side, c] + sums[r, c]
    return np.asarray(np.stack([r, c], axis=1)[inside >= _SHARE * side**2])


def find(one: View, two: View, guess: Similarity) -> Hold | None:
    """Look for the skin of `one` in `two`, near where the guess says; None where hardly a patch is found.

    Parameters
    ----------
    one, two : View
        Bands of structure with the skin as what is usable.
    guess : Similarity
        From pixels of `one` to pixels of `two`, within some 20 pixels.
    """
    way, hold = guess, None
    for reach in _REACHES:
        moved, known = laid(one, two, way)
        corners, side = patches(one.usable & known)
        if len(corners) < LEAST_PATCHES:
            return None
        found, shift, like = _sought(one, moved, known, corners, side, reach)
        hold = _agreed(way, np.asarray(corners + side / 2, dtype=np.float64), shift, found, like)
        if hold is None or hold.agreeing < _HOPELESS * hold.sought:
            return None
        way = hold.way
    return hold


def _sought(
    one: View, moved: Array, known: Mask, corners: NDArray[np.int_], side: int, reach: int
) -> tuple[NDArray[np.bool_], Floats, Floats]:
    """For each patch: whether it was found, by how much it lies off (x, y), and how like it is there."""
    first, weight = (_cut(a, corners, side) for a in (one.image, one.usable))
    wide = side + 2 * reach
    second, seen = (_cut(np.pad(a, reach), corners, wide) for a in (np.where(known, moved, 0), known))
    scores = _correlated(first * weight, weight, second, seen)
    flat = scores.reshape(len(scores), -1)
    best = flat.argmax(axis=1)
    like = flat[np.arange(len(flat)), best]
    row, column = np.unravel_index(best, scores.shape[1:])
    edge = scores.shape[1] - 1
    inner = (row > 0) & (column > 0) & (row < edge) & (column < edge)
    shift = np.stack([column - reach, row - reach], axis=1).astype(np.float64)
    shift[inner] += _between(scores[inner], row[inner], column[inner])
    return inner & (like > _LIKE), shift, like.astype(np.float64)


def _cut(values: Array | Mask, corners: NDArray[np.int_], side: int) -> Array:
    """Squares (N, side, side) from these corners on."""
    return np.stack([values[r : r + side, c : c + side] for r, c in corners]).astype(np.float32)


def _correlated(first: Array, weight: Array, second: Array, seen: Array) -> Array:
    """Normalised correlation of every patch (N, p, p) with its window (N, w, w) at every shift, skin only."""
    size, out = second.shape[1:], second.shape[1] - first.shape[1] + 1

    def slid(patch: Array, window: Array) -> Array:
        product = np.conj(np.fft.rfft2(patch, size)) * np.fft.rfft2(window)
        return np.asarray(np.fft.irfft2(product, size)[:, :out, :out], dtype=np.float32)

    together, ours, theirs = slid(first, second), slid(first**2, seen), slid(weight, second**2)
    common = slid(weight, seen) / first.shape[1] ** 2
    scores = together / np.sqrt(np.maximum(ours * theirs, 1e-12))
    return np.where((common > 0.4) & (ours > 1e-6) & (theirs > 1e-6), scores, -1).astype(np.float32)


def _between(scores: Array, row: NDArray[np.int_], column: NDArray[np.int_]) -> Floats:
    """Where between the pixels each peak lies (x, y), by a parabola through its neighbours."""
    n = np.arange(len(scores))
    middle = scores[n, row, column]
    off = []
    for low, high in (
        (scores[n, row, column - 1], scores[n, row, column + 1]),
        (scores[n, row - 1, column], scores[n, row + 1, column]),
    ):
        bend = np.minimum(low + high - 2 * middle, -1e-6)
        off.append(np.clip((low - high) / (2 * bend), -0.5, 0.5))
    return np.stack(off, axis=1).astype(np.float64)


def _agreed(
    way: Similarity, places: NDArray[np.float64], shift: Floats, found: NDArray[np.bool_], like: Floats
) -> Hold | None:
    """The similarity on which most patches found agree, laid through `way`."""
    source = places[found][:, ::-1]
    target = np.stack(way.apply(*(source + shift[found]).T), axis=1)
    if len(source) < 3:
        return None
    inliers = _most(source, target, like[found], _TOLERANCE * way.zoom)
    if inliers.sum() < 3:
        return None
    for _ in range(3):
        fitted = _fitted(source[inliers], target[inliers])
        miss = np.hypot(*(np.stack(fitted.apply(*source.T), axis=1) - target).T) / fitted.zoom
        inliers = miss < _TOLERANCE
        if inliers.sum() < 3:
            return None
    spread = np.sqrt(((source[inliers] - source[inliers].mean(axis=0)) ** 2).sum())
    typical = float(np.sqrt(np.mean(miss[inliers] ** 2)))
    middle = source[inliers].mean(axis=0)
    return Hold(
        fitted,
        (float(middle[0]), float(middle[1])),
        len(places),
        int(inliers.sum()),
        typical,
        typical / float(spread),
        float(like[found][inliers].mean()),
    )


def _most(source: Floats, target: Floats, like: Floats, tolerance: float) -> NDArray[np.bool_]:
    """Of the similarities through two patches each, the one that most patches follow: every pair is tried."""
    z, w = source[:, 0] + 1j * source[:, 1], target[:, 0] + 1j * target[:, 1]
    likest = np.argsort(-like, kind="stable")[:_PAIRS_OF]
    i, j = (likest[each] for each in np.triu_indices(len(likest), 1))
    far = np.abs(z[j] - z[i]) > _APART
    i, j = i[far], j[far]
    if len(i) == 0:
        return np.zeros(len(z), dtype=bool)
    turn = (w[j] - w[i]) / (z[j] - z[i])
    miss = np.abs(turn[:, None] * (z[None, :] - z[i][:, None]) + w[i][:, None] - w[None, :])
    votes = (miss < tolerance) @ like
    return np.asarray(miss[votes.argmax()] < tolerance)


def _fitted(source: Floats, target: Floats) -> Similarity:
    """Least squares over points (N, 2)."""
    z, w = source[:, 0] + 1j * source[:, 1], target[:, 0] + 1j * target[:, 1]
    zc, wc = z - z.mean(), w - w.mean()
    turn = (np.conj(zc) * wc).sum() / (np.abs(zc) ** 2).sum()
    move = w.mean() - turn * z.mean()
    return Similarity(float(turn.real), float(turn.imag), float(move.real), float(move.imag))
