"""Measure how far two outlines agree."""

from __future__ import annotations

from lesions.analysis.picture import binary
from lesions.analysis.picture.light import Mask


def jaccard(first: Mask, second: Mask) -> float:
    """Intersection over union; 0 for two empty masks."""
    union = binary.count(first | second)
    return binary.count(first & second) / union if union else 0.0
