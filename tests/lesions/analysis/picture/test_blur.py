"""Blurs by products with a band, distances and pieces by rows: the answers of SciPy."""

import numpy as np
import pytest
from scipy import ndimage

from lesions.analysis.picture import blur, pieces, resample

SHAPES = [(93, 124), (17, 5), (40, 33), (3, 65, 49)]


@pytest.mark.parametrize("shape", SHAPES, ids=str)
@pytest.mark.parametrize("sigma", [0.7, 2.0, 8.0])
def test_a_blur_is_scipys(shape, sigma):
    values = np.random.default_rng(1).random(shape, dtype=np.float32)
    theirs = ndimage.gaussian_filter(values, (0,) * (len(shape) - 2) + (sigma, sigma))
    ours = blur.gaussian(values, sigma)
    assert ours.shape == shape
    assert ours == pytest.approx(theirs, abs=1e-6)


def test_a_blur_at_a_few_places_is_that_of_the_whole():
    rng = np.random.default_rng(2)
    values = rng.random((2, 50, 70), dtype=np.float32)
    rows, columns = rng.integers(0, 50, 30), rng.integers(0, 70, 30)
    rows[0], columns[0], rows[1], columns[1] = 0, 0, 49, 69
    found = blur.gaussian_at(values, 2.5, rows, columns, truncate=2.5)
    theirs = ndimage.gaussian_filter(values, (0, 2.5, 2.5), truncate=2.5)
    assert found == pytest.approx(theirs[:, rows, columns], abs=1e-6)


def blots(seed):
    """Blots that touch the rim and each other by corners; the last seed an empty mask."""
    noise = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(61, 47)), 1)
    return noise > (0.25, 0.3, 0.4, 9)[seed]


@pytest.mark.parametrize("reach", [0.7, 1.0, 2.9, 5.0, 60.0])
@pytest.mark.parametrize("seed", range(4))
def test_what_lies_within_a_reach_is_told_by_true_distance(seed, reach):
    mask = blots(seed)
    theirs = ndimage.distance_transform_edt(~mask) <= reach if mask.any() else mask
    assert (resample.within(mask, reach) == theirs).all()


@pytest.mark.parametrize("seed", range(4))
def test_pieces_are_scipys_with_their_spans_and_inner_pixels(seed):
    mask = blots(seed)
    marks, count = ndimage.label(mask, np.ones((3, 3)))
    found = pieces.connected(*np.nonzero(mask))
    assert found.count == count
    assert (marks[found.rows, found.columns] == found.numbers + 1).all()
    boxes = ndimage.find_objects(marks)
    spans = [np.hypot(b[0].stop - b[0].start, b[1].stop - b[1].start) for b in boxes]
    assert found.spans == pytest.approx(spans)
    assert (ndimage.binary_erosion(mask)[mask] == found.inner).all()


@pytest.mark.parametrize("seed", range(4))
def test_no_piece_that_could_be_long_is_left_out(seed):
    mask = blots(seed)
    found = pieces.connected(*np.nonzero(mask))
    kept = pieces.reaching(mask, 12)
    assert not (kept & ~mask).any()
    long = (found.spans > 12)[found.numbers] if found.count else np.zeros(0, dtype=bool)
    assert kept[found.rows[long], found.columns[long]].all()


@pytest.mark.parametrize("beyond", [None, -1.0])
def test_values_between_pixels_are_scipys(beyond):
    rng = np.random.default_rng(3)
    values = rng.integers(0, 255, (20, 30), dtype=np.uint8)
    x, y = rng.uniform(-3, 33, 200), rng.uniform(-3, 23, 200)
    mode = {"mode": "nearest"} if beyond is None else {"mode": "constant", "cval": beyond}
    theirs = ndimage.map_coordinates(values.astype(np.float32), [y - 0.5, x - 0.5], order=1, **mode)
    assert resample.between(values, x, y, beyond=beyond) == pytest.approx(theirs, abs=1e-3)
