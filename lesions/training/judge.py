"""Figures for the card: how well the exported network draws, by set and by skin tone, and whether it knows."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from lesions.analysis.outline import learned
from lesions.analysis.outline.agreement import jaccard
from lesions.analysis.picture.colour import to_lab

from . import data

# Classes of the individual typology angle in degrees (Chardon, Cretois, Hourseau 1991), from the lightest.
_TONES = (
    (55, "very light"),
    (41, "light"),
    (28, "intermediate"),
    (10, "tan"),
    (-30, "brown"),
    (-181, "dark"),
)
_BAD, _GOOD = 0.65, 0.80


@dataclass(frozen=True)
class Judged:
    """One picture: Jaccard index of the outline, agreement of the single passes with it, skin tone."""

    name: str
    jaccard: float
    agreement: float
    tone: str


def judge(example: data.Example) -> Judged:
    """Draw the outline of one picture and hold it against the expert's."""
    seen = learned.look(example.pixels)
    return Judged(
        example.name, jaccard(learned.piece(seen.probability), example.mask), seen.agreement, tone(example)
    )


def judge_all(examples: list[data.Example]) -> list[Judged]:
    """Judge every picture, one to a core; the runtime lets others work while it counts."""
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(judge, examples))


def tone(example: data.Example) -> str:
    """Name of the skin's tone class, from the median colour well outside the outline and the dark frame."""
    far = max(2, round(0.03 * max(example.mask.shape)))
    lab = to_lab(example.pixels)
    # Well outside: the halo round a lesion has not yet the colour of the skin.
    skin = ~ndimage.binary_dilation(example.mask, iterations=far) & (lab[..., 0] > 25)
    if skin.sum() < 100:
        return "unknown"
    light, _, yellow = np.median(lab[skin], axis=0)
    angle = float(np.degrees(np.arctan2(light - 50, yellow)))
    return next(name for limit, name in _TONES if angle > limit)


def summary(rows: list[Judged]) -> str:
    """Number, mean, median and how many are bad."""
    values = np.array([r.jaccard for r in rows])
    return f"{len(rows)} | {values.mean():.3f} / {np.median(values):.3f} | {int((values < _BAD).sum())}"


def doubt(rows: list[Judged], limit: float) -> str:
    """Of the bad outlines the share that agreement below `limit` catches; of the good ones the share doubted."""
    bad = [r.agreement < limit for r in rows if r.jaccard < _BAD]
    good = [r.agreement < limit for r in rows if r.jaccard >= _GOOD]
    return f"{sum(bad)} of {len(bad)} | {sum(good)} of {len(good)} ({100 * np.mean(good or [False]):.0f} %)"


def limit_for(rows: list[Judged], false_share: float) -> float:
    """The agreement below which just `false_share` of the good outlines lie."""
    good = [r.agreement for r in rows if r.jaccard >= _GOOD]
    return float(np.quantile(good, false_share)) if good else 1.0


def by_tone(rows: list[Judged]) -> dict[str, list[Judged]]:
    """The rows of each tone class that occurs, from the lightest."""
    order = [name for _, name in _TONES] + ["unknown"]
    return {name: found for name in order if (found := [r for r in rows if r.tone == name])}
