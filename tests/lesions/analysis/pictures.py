"""Drawn and real pictures for the tests of the core."""

import functools
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage.draw import polygon2mask

from lesions.analysis import pipeline
from lesions.analysis.drawing.phantom import Drawn, Phantom, draw
from lesions.analysis.types import Scale

REAL = Path(__file__).resolve().parents[4] / "shared" / "data" / "dermoscopy"


def small(seed: int, **more) -> Phantom:
    """A drawn lesion in a field of 18 x 13.5 mm, coarse enough to be quick."""
    return Phantom(seed, **{"width": 600, "height": 450, "mm_per_px": 0.03, **more})


def jpeg(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=93)
    return out.getvalue()


@functools.lru_cache(maxsize=32)
def drawn(spec: Phantom) -> tuple[bytes, Drawn]:
    picture = draw(spec)
    return jpeg(picture.image), picture


@functools.lru_cache(maxsize=32)
def measured(spec: Phantom):
    return pipeline.measure(drawn(spec)[0], scale=Scale(spec.mm_per_px, "device", 0.005))


@functools.lru_cache(maxsize=32)
def compared(first: Phantom, second: Phantom):
    return pipeline.compare(
        drawn(first)[0],
        drawn(second)[0],
        earlier_measurement=measured(first),
        later_measurement=measured(second),
    )


def real(name: str) -> tuple[bytes, np.ndarray]:
    """An open dermoscopic photograph and its expert's mask."""
    if not REAL.is_dir():
        pytest.skip(f"no open pictures at {REAL}")
    mask = np.array(Image.open(REAL / f"{name}_mask.png").convert("L")) > 127
    return (REAL / f"{name}.jpg").read_bytes(), mask


def jaccard(outline, truth: np.ndarray) -> float:
    found = polygon2mask(truth.shape, np.array(outline.points)[:, ::-1] - 0.5)
    return float((found & truth).sum() / (found | truth).sum())
