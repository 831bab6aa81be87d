"""Find the outline by a pair of small networks, loaded when first asked, on one CPU thread (weights/CARD.md)."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from lesions.analysis.outline.agreement import jaccard
from lesions.analysis.picture import binary

SIDE = 256  # the networks see squares of this many pixels
WEIGHTS = Path(__file__).parents[1] / "weights" / "outline.onnx"
LEVEL = 0.5  # of 0.40-0.55 the best mean on the pictures that choose
# How each network sees the picture turned in each look (quarters; 4 and more: mirrored). Where both networks agree at
# once, further looks move the border by nothing that experts would see (Jaccard of all 400 pictures that choose: 0.849
# with one look or two, 0.850 with four where the first disagrees, as with six); where they do not, each look helps.
LOOK = (0, 2)
MORE_LOOKS = ((5, 7), (3, 1), (6, 4))
ALIKE = 0.92  # Jaccard index of the two first outlines that needs no more; 30 % of the pictures that choose lie below

Pixels = NDArray[np.uint8]
Array = NDArray[np.float32]
Mask = NDArray[np.bool_]


class NoLearnedFinder(RuntimeError):
    """The learned finder cannot work here; its text is the sentence `available` gives."""


@dataclass(frozen=True)
class Looked:
    """What the networks say of one picture.

    `probability` (H, W, 0 skin to 1 lesion) is the mean of all passes; `agreement` (0-1) is the Jaccard index with the
    outline of that mean which the outline of every pass reaches.
    """

    probability: Array
    agreement: float


def available() -> str | None:
    """Return None where the learned finder can work, otherwise a sentence that says why not."""
    try:
        _session(WEIGHTS)
    except NoLearnedFinder as reason:
        return str(reason)
    return None


def look(pixels: Pixels) -> Looked:
    """Look at a picture once, more often where the two outlines disagree, and say how far all agree with their mean's.

    Parameters
    ----------
    pixels : uint8 (H, W, 3)
        Upright sRGB picture.

    Raises
    ------
    NoLearnedFinder
        Runtime not installed, or weights missing or damaged.
    """
    square, room = _squared(pixels)
    maps = [one[room] for one in _looked(square, LOOK)]
    pieces = [piece(one) for one in maps]
    if jaccard(*pieces) < ALIKE:
        maps += [one[room] for turns in MORE_LOOKS for one in _looked(square, turns)]
        pieces += [piece(one) for one in maps[2:]]
    mean = np.mean(maps, axis=0)
    together = piece(mean)
    return Looked(_enlarged(mean, pixels.shape), min(jaccard(one, together) for one in pieces))


def piece(probabilities: Array) -> Mask:
    """The piece above the level that gathers most probability, holes filled; empty where nothing is above."""
    above = probabilities > LEVEL
    found = np.zeros(above.shape, dtype=bool)
    if above.any():
        box = binary.box(above, 1)
        marks, count = ndimage.label(above[box])
        best = 1
        if count > 1:
            best += int(np.bincount(marks.ravel(), weights=probabilities[box].ravel())[1:].argmax())
        found[box] = binary.filled(marks == best)
    return found


def _squared(pixels: Pixels) -> tuple[Pixels, tuple[slice, slice]]:
    """The picture in the middle of the network's square, mirrored outwards; and where it lies there."""
    height, width = pixels.shape[:2]
    shrink = SIDE / max(height, width)
    size = max(1, round(width * shrink)), max(1, round(height * shrink))
    small = np.asarray(Image.fromarray(pixels).resize(size, Image.Resampling.BILINEAR))
    left, top = (SIDE - size[0]) // 2, (SIDE - size[1]) // 2
    pad = ((top, SIDE - size[1] - top), (left, SIDE - size[0] - left), (0, 0))
    return np.pad(small, pad, "symmetric"), (slice(top, top + size[1]), slice(left, left + size[0]))


def _enlarged(small: Array, shape: tuple[int, ...]) -> Array:
    image = Image.fromarray(np.ascontiguousarray(small))
    return np.asarray(image.resize((shape[1], shape[0]), Image.Resampling.BILINEAR), dtype=np.float32)


def _turned(square: Pixels, turn: int) -> Pixels:
    return np.ascontiguousarray(np.rot90(square[:, ::-1] if turn >= 4 else square, turn % 4))


def _turned_back(square: Array, turn: int) -> Array:
    back = np.rot90(square, -(turn % 4))
    return back[:, ::-1] if turn >= 4 else back


def _looked(square: Pixels, turns: tuple[int, ...]) -> list[Array]:
    """Each network's probabilities (SIDE, SIDE) of the square that it saw turned in its own way, turned back."""
    seen = np.stack([_turned(square, turn) for turn in turns])
    found = _session(WEIGHTS).run(None, {"squares": seen})[0]
    return [_turned_back(one, turn) for one, turn in zip(found, turns, strict=True)]


@lru_cache(maxsize=1)
def _session(weights: Path) -> Any:
    """The loaded network; nothing of the runtime is imported before the first call."""
    try:
        content = weights.read_bytes()
        wanted = weights.with_suffix(".sha256").read_text(encoding="ascii").split()[0]
    except (OSError, ValueError, IndexError):
        raise NoLearnedFinder("weights_missing") from None
    if hashlib.sha256(content).hexdigest() != wanted:
        raise NoLearnedFinder("weights_damaged")  # the digest differs
    return _opened(content)


def _opened(content: bytes) -> Any:
    try:
        runtime = import_module("onnxruntime")  # only here: the web process never loads it
    except ImportError:
        raise NoLearnedFinder("no_runtime") from None
    options = runtime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.execution_mode = runtime.ExecutionMode.ORT_SEQUENTIAL
    options.log_severity_level = 3
    return runtime.InferenceSession(content, options, providers=["CPUExecutionProvider"])
