"""Measure how unlike each lesion of a person is to that person's others, and by what (the ugly duckling sign)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

LEAST_LESIONS = 8
LEAST_DISTANCE = 3.5  # Iglewicz and Hoaglin 1993, from memory: modified z scores beyond it are outliers
_TO_DEVIATION = 1.4826  # MAD of a normal distribution times this is its standard deviation
# Least spread on the log scale, 10 %: identical others would make any difference endless. Clinic setting, no source.
_LEAST_SPREAD = 0.1
# Each measure with what is added before the logarithm (a share of nothing has none), and its words above and below.
MEASURES: dict[str, tuple[float, str, str]] = {
    "area": (0.0, "larger", "smaller"),
    "feret": (0.0, "longer", "shorter"),
    "darkness": (0.05, "darker", "lighter"),
    "colours": (1.0, "of more colours", "of fewer colours"),
}


@dataclass(frozen=True)
class DistanceFromOthers:
    """`distance` in robust standard deviations, of the measure that differs most; `reason` empty below the limit."""

    distance: float
    reason: str


def darkness(values: Mapping[str, float | None]) -> float | None:
    """Share of a lesion that is dark brown, blue-grey or black, 0 to 1; None where it was not measured."""
    parts = [values.get(f"colour_{name}") for name in ("dark_brown", "blue_grey", "black")]
    known = [part for part in parts if part is not None]
    return sum(known) if len(known) == len(parts) else None


def distances_from_others(lesions: Sequence[Mapping[str, float]]) -> list[DistanceFromOthers] | None:
    """Measure how far each lesion stands from the others of the same person.

    Parameters
    ----------
    lesions : sequence of mappings
        For each lesion the measures of `MEASURES` by name: area in mm², feret in mm, darkness as a share of 0 to 1,
        colours as a count. Only measures that all of them have are used.

    Returns
    -------
    list of Standing, or None
        In the order given, distances from 0 up. None, not assessed, for fewer than `LEAST_LESIONS` lesions or
        where they share no measure.

    Notes
    -----
    Robust z score on the log scale, (x - median) / (1.4826 MAD), median and MAD taken of the *other* lesions.
    The sign: Grob and Bonerandi, "The 'ugly duckling' sign", Archives of Dermatology 1998;134:103-104 (from memory);
    it names no numbers, so the limit is a statistician's, not a clinician's.
    """
    shared = [name for name in MEASURES if all(_usable(name, row) for row in lesions)]
    if len(lesions) < LEAST_LESIONS or not shared:
        return None
    scores = {name: _scores([math.log(row[name] + MEASURES[name][0]) for row in lesions]) for name in shared}
    return [
        _standing({name: scores[name][i] for name in shared}, len(lesions) - 1) for i in range(len(lesions))
    ]


def _usable(name: str, row: Mapping[str, float]) -> bool:
    return name in row and row[name] + MEASURES[name][0] > 0


def _scores(values: list[float]) -> list[float]:
    return [_score(value, values[:i] + values[i + 1 :]) for i, value in enumerate(values)]


def _score(value: float, others: list[float]) -> float:
    middle = median(others)
    spread = _TO_DEVIATION * median(abs(other - middle) for other in others)
    return (value - middle) / max(spread, _LEAST_SPREAD)


def _standing(scores: dict[str, float], others: int) -> DistanceFromOthers:
    far = {name: score for name, score in scores.items() if abs(score) > LEAST_DISTANCE}
    if "area" in far and "feret" in far:
        del far["feret"]  # one size is said once
    words = [_word(name, score) for name, score in far.items()]
    listed = " and ".join(([", ".join(words[:-1])] if words[1:] else []) + words[-1:])
    reason = f"{listed} than the other {others}" if words else ""
    return DistanceFromOthers(max(abs(score) for score in scores.values()), reason)


def _word(name: str, score: float) -> str:
    _, above, below = MEASURES[name]
    return above if score > 0 else below
