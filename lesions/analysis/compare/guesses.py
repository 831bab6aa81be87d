"""First guesses of how two views lie to each other: by outline, then by matched features."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage import feature, measure, transform

from lesions.analysis.compare.overlay import Similarity, View
from lesions.analysis.picture import contour
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Array

_RAYS, _RADII = 180, 24
_SEED = 20260101
_FEATURES = 400


def all_of(
    one: View, two: View, ring_one: Ring, ring_two: Ring, *, features: bool = True
) -> Iterator[Similarity]:
    """Yield guesses from earlier to later pixels, cheapest first.

    Parameters
    ----------
    one, two : View
        Earlier and later.
    ring_one, ring_two : float (N, 2)
        Outlines in pixels of the views.
    features : bool
        Whether to search by features after the outlines.
    """
    yield from by_outline(one, two, ring_one, ring_two)
    if features:
        yield from by_features(one, two)


def by_outline(one: View, two: View, ring_one: Ring, ring_two: Ring) -> Iterator[Similarity]:
    """Same centre, size by area, turn by circular correlation of both lesions unrolled."""
    centre_one, centre_two = _centroid(ring_one), _centroid(ring_two)
    radius_one, radius_two = (np.sqrt(contour.area(r) / np.pi) for r in (ring_one, ring_two))
    first, second = _unrolled(one, centre_one, radius_one), _unrolled(two, centre_two, radius_two)
    spectrum = np.conj(np.fft.rfft(first, axis=1)) * np.fft.rfft(second, axis=1)
    agreement = np.fft.irfft(spectrum, n=_RAYS, axis=1).sum(axis=0)
    zoom = radius_two / radius_one
    for ray in _peaks(agreement):
        turn = 2 * np.pi * ray / _RAYS
        a, b = zoom * np.cos(turn), zoom * np.sin(turn)
        tx = centre_two[0] - a * centre_one[0] + b * centre_one[1]
        ty = centre_two[1] - b * centre_one[0] - a * centre_one[1]
        yield Similarity(float(a), float(b), float(tx), float(ty))


def _centroid(ring: Ring) -> NDArray[np.float64]:
    x, y = ring.T
    nx, ny = np.roll(x, -1), np.roll(y, -1)
    cross = x * ny - nx * y
    moments = np.array([((x + nx) * cross).sum(), ((y + ny) * cross).sum()])
    return np.asarray(moments / (3 * cross.sum()), dtype=np.float64)


def _unrolled(view: View, centre: NDArray[np.float64], radius: float) -> Array:
    """Density on rays and circles to 1.5 radii, each circle freed from its mean and weighted."""
    angle = np.arange(_RAYS) / _RAYS * 2 * np.pi
    reach = (np.arange(_RADII) + 0.5) / _RADII * 1.5 * radius
    x = centre[0] + reach[:, None] * np.cos(angle)
    y = centre[1] + reach[:, None] * np.sin(angle)
    smooth = ndimage.gaussian_filter(view.image, max(1.0, radius / 20))
    seen = ndimage.map_coordinates(smooth, [y - 0.5, x - 0.5], order=1, mode="nearest")
    return np.asarray((seen - seen.mean(axis=1, keepdims=True)) * np.sqrt(reach)[:, None], dtype=np.float32)


def _peaks(agreement: NDArray[np.float64]) -> list[int]:
    """Up to three best turns, at least 15 degrees apart."""
    rest, found = agreement.copy(), []
    for _ in range(3):
        ray = int(rest.argmax())
        found.append(ray)
        rest[(ray + np.arange(-8, 9)) % _RAYS] = -np.inf
    return found


def by_features(one: View, two: View) -> Iterator[Similarity]:
    """Matched ORB corners, a similarity by RANSAC with a fixed seed; nothing where fewer than 8 agree."""
    match: Any = feature.match_descriptors
    ransac: Any = measure.ransac

    first, second = _corners(one), _corners(two)
    if first is None or second is None:
        return
    pairs = match(first[1], second[1], cross_check=True, max_ratio=0.9)
    if len(pairs) < 8:
        return
    source, target = first[0][pairs[:, 0]], second[0][pairs[:, 1]]
    kind = transform.SimilarityTransform
    model, inliers = ransac((source, target), kind, 2, residual_threshold=3, max_trials=600, rng=_SEED)
    if inliers is None or inliers.sum() < 8:
        return
    matrix = model.params
    yield Similarity(float(matrix[0, 0]), float(matrix[1, 0]), float(matrix[0, 2]), float(matrix[1, 2]))


def _corners(view: View) -> tuple[NDArray[np.float64], NDArray[np.bool_]] | None:
    """Corner places (x, y) and their descriptors, None where there are none."""
    make: Any = feature.ORB
    finder = make(n_keypoints=_FEATURES, fast_threshold=0.03, n_scales=6, downscale=1.25)
    low, high = np.percentile(view.image, (0.5, 99.5))
    try:
        finder.detect_and_extract(np.clip((view.image - low) / max(high - low, 1e-3), 0, 1))
    except (RuntimeError, ValueError, IndexError):
        return None
    return finder.keypoints[:, ::-1] + 0.5, finder.descriptors
