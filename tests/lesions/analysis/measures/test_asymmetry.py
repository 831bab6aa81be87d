"""Asymmetry of structure on drawn meshes; the axes count contour, colour or structure (Nachbar et al. 1994)."""

import numpy as np
import pytest

from lesions.analysis.measures import asymmetry

SIZE, PERIOD = 300, 7


def lesion(cover, *, turn: float = 0.0, strength: float = 6.0):
    """An even brown ellipse with a mesh where `cover(u, v)` says; the mesh leaves the mean colour as it is."""
    y, x = np.mgrid[0:SIZE, 0:SIZE] - SIZE / 2 + 0.5
    u, v = np.cos(turn) * x + np.sin(turn) * y, np.cos(turn) * y - np.sin(turn) * x
    lab = np.empty((SIZE, SIZE, 3), dtype=np.float32)
    lab[...] = (40, 15, 20)
    lab[..., 0] += strength * np.cos(2 * np.pi * u / PERIOD) * np.cos(2 * np.pi * v / PERIOD) * cover(u, v)
    lab += np.random.default_rng(1).normal(0, 0.6, lab.shape)
    mask = np.hypot(u / 100, v / 75) < 1
    lab[~mask] = (70, 12, 15)
    return lab.astype(np.float32), mask


def everywhere(u, v):
    return np.ones_like(u)


def nowhere(u, v):
    return np.zeros_like(u)


def rim(u, v):
    return np.hypot(u / 100, v / 75) > 0.6


def half(u, v):
    return u > 0


def quarter(u, v):
    return (u > 0) & (v > 0)


@pytest.mark.parametrize("cover", [everywhere, nowhere, rim])
def test_a_mesh_that_mirrors_itself_counts_no_axis(cover):
    found = asymmetry.measure(*lesion(cover))
    assert found.structure < 0.03
    assert found.axes == 0


@pytest.mark.parametrize(("cover", "axes"), [(half, 1), (quarter, 2)])
def test_a_mesh_on_one_side_counts_by_structure_alone(cover, axes):
    found = asymmetry.measure(*lesion(cover))
    assert found.structure > asymmetry.STRUCTURE_LIMIT
    assert found.axes == axes
    assert found.shape < asymmetry.SHAPE_LIMIT / 2 and found.colour < asymmetry.COLOUR_LIMIT / 2


@pytest.mark.parametrize("cover", [everywhere, half, quarter])
@pytest.mark.parametrize("turn", [0.4, 1.1, 2.5])
def test_a_turn_of_the_picture_changes_nothing(cover, turn):
    straight, turned = asymmetry.measure(*lesion(cover)), asymmetry.measure(*lesion(cover, turn=turn))
    assert turned.structure == pytest.approx(straight.structure, abs=0.02)
    assert turned.axes == straight.axes


def test_the_fall_at_the_border_is_no_structure():
    """The same lesion on skin that is dark on one side only: nothing inside it changed."""
    lab, mask = lesion(everywhere)
    other = lab.copy()
    other[:, : SIZE // 2][~mask[:, : SIZE // 2]] = (20, 5, 5)
    assert asymmetry.measure(other, mask).structure == pytest.approx(
        asymmetry.measure(lab, mask).structure, abs=0.005
    )
