"""Ruggedness of the border against fractals of known dimension and plain shapes."""

import numpy as np
import pytest

from lesions.analysis.measures import fractal
from lesions.analysis.picture import contour
from tests.lesions.analysis.picture.test_contour import disc, koch


def minkowski(rounds: int) -> np.ndarray:
    """Quadratic island: each side of a square replaced by eight of a quarter."""
    ring = 90 * np.array([0, 1, 1 + 1j, 1j])
    path = np.array([0, 1, 1 + 1j, 2 + 1j, 2, 2 - 1j, 3 - 1j, 3])
    for _ in range(rounds):
        ring = (ring[:, None] + (np.roll(ring, -1) - ring)[:, None] / 4 * path).ravel()
    return np.stack([ring.real, ring.imag], axis=1)


def turned(ring: np.ndarray, angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return ring @ np.array([[c, -s], [s, c]])


@pytest.mark.parametrize("angle", [0.0, 0.2, 0.5, 0.9])
def test_fractals_have_their_dimension(angle):
    """Similarity dimension: log 4 / log 3 of the Koch snowflake (von Koch 1904), log 8 / log 4 of the island."""
    assert fractal.dimension(turned(koch(5), angle)) == pytest.approx(np.log(4) / np.log(3), abs=0.03)
    assert fractal.dimension(turned(minkowski(4), angle)) == pytest.approx(1.5, abs=0.03)


@pytest.mark.parametrize("angle", [0.0, 0.2, 0.5, 0.9])
def test_plain_shapes_have_dimension_one(angle):
    square = np.array([[20.0, 20], [120, 20], [120, 120], [20, 120]])
    for ring in (square, contour.trace(disc(60, 60)), contour.trace(disc(80, 30, 1.1))):
        assert fractal.dimension(turned(ring, angle)) == pytest.approx(1, abs=0.03)


def test_a_ring_as_measured_still_tells_a_rugged_border():
    """360 points lose the finest third of the snowflake: it reads lower, and far above a circle."""
    assert fractal.dimension(contour.even(koch(5))) == pytest.approx(1.23, abs=0.03)


def test_size_and_place_do_not_matter():
    ring = contour.even(koch(4))
    assert fractal.dimension(ring * 7.3 + (410, -33)) == pytest.approx(fractal.dimension(ring), abs=0.01)
