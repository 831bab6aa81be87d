"""Measure how far two outlines agree."""

from __future__ import annotations

import numpy as np

from lesions.analysis.picture.light import Mask


def jaccard(first: Mask, second: Mask) -> float:
    """Intersection over union; 0 for two empty masks."""
    union = np.count_nonzero(first | second)
    return np.count_nonzero(first & second) / union if union else 0.0
