"""How much a measure varies when nothing changed, from one lesion photographed several times. Pure arithmetic.

Smallest change that one picture each can show at 95 %: 1.96 * sqrt(2) * SEM (Bland and Altman,
Statistical Methods in Medical Research 1999;8:135-160; the formula from memory).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import mean, stdev
from typing import Any

from lesions.analysis.measures.repeatability import FIGURES
from lesions.analysis.types import Measurement

LEAST_PICTURES = 3
TABLE = "repeatability"
_SIZES = ("mm", "mm²", "px", "px²")  # a large lesion varies by more millimetres than a small one


@dataclass(frozen=True)
class Spread:
    """One measure over repeated pictures: `sem` and `smallest` in its own unit."""

    name: str
    unit: str
    pictures: int
    mean: float
    sem: float
    smallest: float

    @property
    def relative(self) -> bool:
        return self.unit in _SIZES


def study(measurements: Sequence[Measurement]) -> list[Spread]:
    """The spread of every measure that at least `LEAST_PICTURES` of the pictures have."""
    found: dict[tuple[str, str], list[float]] = {}
    for measurement in measurements:
        for measure in measurement.measures:
            if measure.value is not None:
                found.setdefault((measure.name, measure.unit), []).append(measure.value)
    return [_spread(*key, values) for key, values in found.items() if len(values) >= LEAST_PICTURES]


def _spread(name: str, unit: str, values: list[float]) -> Spread:
    """Of one lesion the standard deviation of repeated pictures is the standard error of measurement."""
    sem = stdev(values)
    return Spread(name, unit, len(values), mean(values), sem, 1.96 * math.sqrt(2) * sem)


def unsure(pictures: int) -> float:
    """Relative standard error of a standard deviation of so many values: 1 / sqrt(2 (n - 1))."""
    return 1 / math.sqrt(2 * (pictures - 1))


# ---- as a table of the clinic's limits ---------------------------------------------------------


def as_toml(spreads: Sequence[Spread], source: str) -> str:
    """The table `[repeatability]` for the limits. A spread of nothing at all proves nothing and is left out."""
    known = [each for each in spreads if each.smallest > 0 and each.name in FIGURES]
    sizes = [
        f"{each.name} = {each.smallest / each.mean:.3g}" for each in known if each.relative and each.mean
    ]
    others = [f"{each.name} = {each.smallest:.3g}" for each in known if not each.relative]
    quoted = source.replace("\\", "/").replace('"', "'")
    lines = [
        "# Smallest change that shows, from the clinic's own repeated pictures; in place of the program's figures.",
        f"[{TABLE}]",
        f'source = "{quoted}"',
        f"[{TABLE}.relative]  # share of the value",
        *sizes,
        f"[{TABLE}.absolute]  # in the measure's own unit",
        *others,
    ]
    return "\n".join(lines) + "\n"


def with_table(limits: str, table: str) -> str:
    """The limits with this table at their end, in place of one that is there."""
    kept, inside = [], False
    for line in limits.splitlines():
        if line.startswith("["):
            inside = line.startswith((f"[{TABLE}]", f"[{TABLE}."))
        if not inside and not line.startswith("# Smallest change that shows"):
            kept.append(line)
    return "\n".join(kept).rstrip() + "\n\n" + table


@dataclass(frozen=True)
class Own:
    """The clinic's own figures; a measure without one keeps the program's."""

    source: str
    relative: dict[str, float]
    absolute: dict[str, float]

    def smallest(self, name: str, earlier: float, later: float) -> float | None:
        """Smallest change that shows between two values, in the measure's own unit; None where not studied."""
        if name in self.relative:
            return self.relative[name] * abs(earlier + later) / 2
        return self.absolute.get(name)

    def beyond(self, name: str, earlier: float, later: float) -> bool | None:
        least = self.smallest(name, earlier, later)
        return None if least is None else abs(later - earlier) > least


def read(table: dict[str, Any] | None) -> Own | None:
    if table is None:
        return None
    return Own(table["source"], table.get("relative", {}), table.get("absolute", {}))


def faults(table: Any) -> Iterator[str]:
    """What is wrong with a `[repeatability]` table, in words."""
    if not isinstance(table, dict) or not isinstance(table.get("source"), str) or not table["source"].strip():
        yield "repeatability names its source: which lesion, how many pictures, when"
        return
    yield from (
        f"repeatability: unknown key {key!r}"
        for key in sorted(table.keys() - {"source", "relative", "absolute"})
    )
    for kind in ("relative", "absolute"):
        values = table.get(kind, {})
        if not isinstance(values, dict):
            yield f"repeatability.{kind} is a table of measures"
            continue
        for name, value in values.items():
            yield from _faults(f"repeatability.{kind}.{name}", name, value)


def _faults(where: str, name: str, value: Any) -> Iterator[str]:
    if name not in FIGURES:
        yield f"{where}: there is no such measure"
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not 0 < value < math.inf:
        yield f"{where} is a number above 0"
