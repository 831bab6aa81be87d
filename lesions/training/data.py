"""Folders of pictures with outlines: NAME.jpg beside NAME_mask.png, and an index with the original sizes."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

TRAINS, CHOOSES, LOOKS = "dermoscopy-train", "dermoscopy-small", "dermoscopy"
GRID = 256  # the training pictures are held squeezed to this square; their aspect is kept beside them

Pixels = NDArray[np.uint8]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Example:
    """One picture with its outline, both at the picture's own size; `aspect` is true width over height."""

    name: str
    pixels: Pixels
    mask: Mask
    aspect: float


def names(folder: Path) -> list[str]:
    """Names of the pictures that have an outline, sorted.

    Raises
    ------
    FileNotFoundError
        The folder holds none.
    """
    found = sorted(p.name.removesuffix("_mask.png") for p in folder.glob("*_mask.png"))
    if not found:
        raise FileNotFoundError(f"{folder} holds no NAME.jpg with NAME_mask.png")
    return found


def load(folder: Path, name: str, aspects: dict[str, float]) -> Example:
    """Read one picture and its outline (anything brighter than nothing is lesion)."""
    with Image.open(folder / f"{name}.jpg") as picture:
        pixels = np.asarray(picture.convert("RGB"))
    with Image.open(folder / f"{name}_mask.png") as drawn:
        mask = np.asarray(drawn.convert("L")) > 0
    if mask.shape != pixels.shape[:2]:
        raise ValueError(f"{folder / name}: picture and outline differ in size")
    return Example(name, pixels, mask, aspects.get(name, pixels.shape[1] / pixels.shape[0]))


def load_all(folder: Path, most: int | None = None) -> list[Example]:
    """Read a folder's pictures, at most `most` of them spread evenly over the folder."""
    chosen = names(folder)
    if most is not None and most < len(chosen):
        # Spread over the folder: names beside each other may come from one clinic and one camera.
        chosen = [chosen[i] for i in np.linspace(0, len(chosen) - 1, most).astype(int)]
    aspects = _aspects(folder)
    return [load(folder, name, aspects) for name in chosen]


def squeezed(example: Example) -> tuple[Pixels, Pixels]:
    """Picture (GRID, GRID, 3) and outline (GRID, GRID, 0 or 1), proportions given up."""
    picture = Image.fromarray(example.pixels).resize((GRID, GRID), Image.Resampling.BILINEAR)
    mask = Image.fromarray(example.mask.astype(np.uint8)).resize((GRID, GRID), Image.Resampling.NEAREST)
    return np.asarray(picture), np.asarray(mask)


def _aspects(folder: Path) -> dict[str, float]:
    index = folder / "index.csv"
    if not index.exists():
        return {}
    with index.open(newline="", encoding="utf-8") as lines:
        return {
            r["image"]: int(r["original_width"]) / int(r["original_height"]) for r in csv.DictReader(lines)
        }
