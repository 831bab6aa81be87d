"""Sizes against plane geometry."""

import numpy as np
import pytest
from scipy import special
from skimage.draw import polygon2mask

from lesions.analysis.picture import contour


def disc(a: float, b: float, turn: float = 0.0, size: int = 240) -> np.ndarray:
    """Level function of an ellipse with half-axes a and b, off the pixel grid; positive inside, in pixels."""
    y, x = np.mgrid[0:size, 0:size] + 0.5
    u, v = x - size / 2 - 0.3, y - size / 2 + 0.2
    c, s = np.cos(turn), np.sin(turn)
    return (1 - np.hypot((c * u + s * v) / a, (-s * u + c * v) / b)) * min(a, b)


@pytest.mark.parametrize(("a", "b", "turn"), [(20, 20, 0), (40, 25, 0.4), (80, 30, 1.1), (90, 88, 2.0)])
def test_ellipse_sizes_are_analytic(a, b, turn):
    """Area pi a b; perimeter 4 a E(e²), the complete elliptic integral; Feret 2 a."""
    ring = contour.trace(disc(a, b, turn))
    assert contour.area(ring) == pytest.approx(np.pi * a * b, rel=0.0015)
    assert contour.perimeter(ring) == pytest.approx(4 * a * special.ellipe(1 - (b / a) ** 2), rel=0.0015)
    assert contour.feret(ring) == pytest.approx(2 * a, rel=0.0015)
    assert contour.solidity(ring) == pytest.approx(1, abs=0.002)


def test_a_circle_is_the_most_compact():
    assert contour.compactness(contour.trace(disc(60, 60))) == pytest.approx(1, abs=0.002)


def test_square_sizes_are_analytic():
    """Side 100: area 10 000, perimeter 400, Feret 100 √2, compactness 4/pi."""
    square = contour.even(np.array([[20.0, 20], [120, 20], [120, 120], [20, 120]]))
    assert contour.area(square) == pytest.approx(10_000)
    assert contour.perimeter(square) == pytest.approx(400)
    assert contour.feret(square) == pytest.approx(100 * np.sqrt(2))
    assert contour.compactness(square) == pytest.approx(4 / np.pi)


def test_a_cross_is_not_solid():
    """A plus sign of five unit squares fills 5 of the 7 units of its hull."""
    plus = [(1, 0), (2, 0), (2, 1), (3, 1), (3, 2), (2, 2), (2, 3), (1, 3), (1, 2), (0, 2), (0, 1), (1, 1)]
    assert contour.solidity(np.array(plus, dtype=float)) == pytest.approx(5 / 7)


def test_the_ring_of_a_mask_sits_on_pixel_edges():
    """A block of pixels 30..69 covers 30.0 to 70.0 in coordinates whose pixel centres are at +0.5."""
    mask = np.zeros((100, 100), dtype=bool)
    mask[30:70, 30:70] = True
    ring = contour.of_mask(mask, 0.8)
    assert ring.min() == pytest.approx(30, abs=0.05)
    assert ring.max() == pytest.approx(70, abs=0.05)
    assert contour.fill(ring, mask.shape).sum() == pytest.approx(1600, rel=0.01)


def test_nothing_has_no_ring():
    assert contour.of_mask(np.zeros((50, 50), dtype=bool)) is None


def test_a_mask_at_the_rim_closes_along_the_rim():
    mask = np.zeros((60, 60), dtype=bool)
    mask[:30, 20:40] = True
    assert contour.area(contour.of_mask(mask)) == pytest.approx(600, rel=0.03)


def test_filling_agrees_with_another_implementation():
    """scikit-image's polygon2mask, on a star that crosses the picture's rim (pixel centres at whole numbers there)."""
    turn = np.arange(36) / 36 * 2 * np.pi
    reach = np.where(np.arange(36) % 2, 60.3, 25.7)
    star = np.stack([50.21 + reach * np.cos(turn), 40.37 + reach * np.sin(turn)], axis=1)
    found, other = contour.fill(star, (80, 100)), polygon2mask((80, 100), star[:, ::-1] - 0.5)
    assert found.any() and (found == other).all()


def koch(rounds: int, side: float = 90.0) -> np.ndarray:
    """Koch snowflake on an equilateral triangle, each side replaced by four of a third."""
    turn = np.exp(-1j * np.pi / 3)
    ring = side * np.array([0, np.exp(1j * np.pi / 3), 1])
    for _ in range(rounds):
        step = (np.roll(ring, -1) - ring) / 3
        ring = np.stack([ring, ring + step, ring + step + step / turn, ring + 2 * step], axis=1).ravel()
    return np.stack([ring.real, ring.imag], axis=1)


@pytest.mark.parametrize("rounds", range(6))
def test_koch_snowflake_sizes_are_analytic(rounds):
    """H. von Koch 1904: perimeter 3 s (4/3)^n; area of the triangle times 1 + 3/5 (1 - (4/9)^n)."""
    ring, triangle = koch(rounds), np.sqrt(3) / 4 * 90**2
    assert contour.perimeter(ring) == pytest.approx(3 * 90 * (4 / 3) ** rounds)
    assert contour.area(ring) == pytest.approx(triangle * (1 + 0.6 * (1 - (4 / 9) ** rounds)))
