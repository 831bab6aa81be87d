"""Measure how far two outlines agree."""

from __future__ import annotations

from lesions.analysis.picture.light import Mask


def jaccard(first: Mask, second: Mask) -> float:
    """Intersection over union; 0 for two empty masks."""
    union = int((first | second).sum())
    return int((first & second).sum()) / union if union else 0.0
