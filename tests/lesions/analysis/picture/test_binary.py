"""Masks grown, worn down and filled as SciPy does it."""

import numpy as np
import pytest
from scipy import ndimage

from lesions.analysis.picture import binary


@pytest.fixture(params=range(6))
def mask(request):
    """Blots that touch the rim, with holes; an empty and a full mask among them."""
    noise = ndimage.gaussian_filter(np.random.default_rng(request.param).normal(size=(61, 47)), 2)
    level = (0, 0.05, -0.05, 9, -9, 0.1)[request.param]
    return noise > level


@pytest.mark.parametrize("times", [1, 2, 5])
@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (binary.dilated, ndimage.binary_dilation),
        (binary.eroded, ndimage.binary_erosion),
        (binary.opened, ndimage.binary_opening),
        (binary.closed, ndimage.binary_closing),
    ],
)
def test_same_as_scipy(mask, ours, theirs, times):
    assert (ours(mask, times) == theirs(mask, iterations=times)).all()


def test_holes_are_filled_as_scipy_fills_them(mask):
    assert (binary.filled(mask) == ndimage.binary_fill_holes(mask)).all()
