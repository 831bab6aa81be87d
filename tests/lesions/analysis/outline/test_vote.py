"""The vote's own sums, against those of the libraries that it does without for their time."""

import numpy as np
import pytest
from skimage import filters

from lesions.analysis.outline import vote


def two_heaps(seed: int) -> np.ndarray:
    draws = np.random.default_rng(seed)
    return np.sort(np.concatenate([draws.normal(0, 0.1, 700), draws.normal(1, 0.2, 301)])).astype(np.float32)


@pytest.mark.parametrize("seed", range(5))
def test_the_threshold_is_scikit_images(seed):
    values = two_heaps(seed)
    assert vote.otsu(values) == pytest.approx(float(filters.threshold_otsu(values)), abs=1e-6)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.30, 0.995, 1.0])
def test_the_value_at_a_share_is_numpys_percentile(share):
    values = two_heaps(1)
    assert vote._at(values, share) == pytest.approx(float(np.percentile(values, 100 * share)), abs=1e-6)
