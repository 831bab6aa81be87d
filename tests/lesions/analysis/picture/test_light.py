"""Even light: the surface of the skin that is taken away, the steps of density, and means of blocks."""

import numpy as np
import pytest
from PIL import Image

from lesions.analysis.picture import light, resample

HIGH, WIDE = 150, 200  # not whole numbers of the rows that are worked at a time


def slanted() -> np.ndarray:
    """Skin that gets darker to the right and downwards, and a dark spot of which the fit must not make much."""
    y, x = np.mgrid[0:HIGH, 0:WIDE]
    skin = np.array([215.0, 170.0, 150.0]) * np.exp(-0.3 * x / WIDE - 0.1 * (y / HIGH) ** 2)[..., None]
    skin[np.hypot(x - 100, y - 75) < 20] *= 0.4
    return np.round(skin).astype(np.uint8)


def test_skin_under_slanting_light_comes_out_even():
    lit = light.even(slanted(), np.ones((HIGH, WIDE), dtype=bool))
    spot = lit.density[75, 100]
    assert spot == pytest.approx(-np.log(0.4), abs=0.08)
    lit.density[55:96, 80:121] = 0
    assert np.abs(lit.density).max() < 0.08


def test_what_was_taken_away_is_known_at_every_pixel():
    """What is filled in under hair is brought to the same skin as all around it."""
    pixels = slanted()
    lit = light.even(pixels, np.ones((HIGH, WIDE), dtype=bool))
    rows, columns = (places.ravel() for places in np.mgrid[0:HIGH, 0:WIDE])
    whole = -np.log((pixels.reshape(-1, 3) + 1.0) / 256.0)
    assert lit.density.reshape(-1, 3) + lit.skin.at(rows, columns) == pytest.approx(whole, abs=1e-5)
    before = lit.density.copy()
    light.change(lit, pixels, np.ones((HIGH, WIDE), dtype=bool))
    assert lit.density == pytest.approx(before, abs=1e-6)


def test_steps_of_density_begin_below_the_skins_own():
    density = np.zeros((1, 4, 3), dtype=np.float32)
    density[0, :, :] = np.array([-2.0, 0.0, 0.5, 9.0])[:, None]
    assert light.levels(density).tolist() == [[0, 80, 120, 255]]


@pytest.mark.parametrize("step", [1, 2, 3, 4])
def test_means_of_blocks_are_pillows_on_whole_blocks(step):
    values = np.random.default_rng(1).normal(size=(2, 31, 46)).astype(np.float32)
    found = resample.block_means(values, step)
    rows, columns = 31 // step, 46 // step
    for plane, means in zip(values, found, strict=True):
        cut = Image.fromarray(np.ascontiguousarray(plane[: rows * step, : columns * step]))
        assert means == pytest.approx(np.asarray(cut.reduce(step)), abs=1e-6)
