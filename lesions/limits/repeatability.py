"""Work out how much a measure varies when nothing changed, from one lesion photographed several times.

Smallest change that one picture each can show at 95 %: 1.96 * sqrt(2) * SEM (Bland and Altman,
Statistical Methods in Medical Research 1999;8:135-160; the formula from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean, stdev

from clinic.formats.strict_toml import Table, quote
from lesions.analysis.measures.repeatability import FIGURES
from lesions.analysis.types import Measurement

# Of two pictures a spread can be worked out and means nothing: it is unsure by 71 %.
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
    """Work out the spread of every measure that at least `LEAST_PICTURES` of the pictures have."""
    found: dict[tuple[str, str], list[float]] = {}
    for measurement in measurements:
        for measure in measurement.measures:
            if measure.value is not None:
                found.setdefault((measure.name, measure.unit), []).append(measure.value)
    return [_spread(*key, values) for key, values in found.items() if len(values) >= LEAST_PICTURES]


def _spread(name: str, unit: str, values: list[float]) -> Spread:
    """Work out one spread: of repeated pictures the standard deviation is the standard error of measurement."""
    sem = stdev(values)
    return Spread(name, unit, len(values), mean(values), sem, 1.96 * math.sqrt(2) * sem)


def unsure(pictures: int) -> float:
    """Give the relative standard error of a standard deviation of so many values: 1 / sqrt(2 (n - 1))."""
    return 1 / math.sqrt(2 * (pictures - 1))


# ---- as a table of the clinic's limits ---------------------------------------------------------


def as_toml(spreads: Sequence[Spread], source: str) -> str:
    """Write the table `[repeatability]` for the limits. A spread of nothing at all proves nothing and is left out."""
    # A spread of nothing comes from one file that was filed several times, or a camera that smooths: it would flag
    # all.
    known = [each for each in spreads if each.smallest > 0 and each.name in FIGURES]
    sizes = [
        f"{each.name} = {each.smallest / each.mean:.3g}" for each in known if each.relative and each.mean
    ]
    others = [f"{each.name} = {each.smallest:.3g}" for each in known if not each.relative]
    # Free words that will stand between quotation marks of TOML: one of theirs would end the text.
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
    """Put this table at the end of the limits, in place of one that is there."""
    kept, inside = [], False
    for line in limits.splitlines():
        # By lines and not by a TOML writer: the clinic's own comments in the rest of the file must survive.
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
        """Give the smallest change that shows between two values, in the measure's own unit; None where not studied."""
        if name in self.relative:
            return self.relative[name] * abs(earlier + later) / 2
        return self.absolute.get(name)

    def beyond(self, name: str, earlier: float, later: float) -> bool | None:
        least = self.smallest(name, earlier, later)
        return None if least is None else abs(later - earlier) > least


def read(limits: Table) -> Own | None:
    """Read the clinic's own figures, where its limits have a table `[repeatability]`."""
    if TABLE not in limits.values:
        return None
    table = limits.table(TABLE)
    source = table.values.get("source")
    if not isinstance(source, str) or not source.strip():
        table.fault("", "study_without_source")
        return None
    # Sorted, because a set has no order: the same file is to name its faults in the same order each time.
    for key in sorted(table.values.keys() - {"source", "relative", "absolute"}):
        table.fault("", "unknown_key_of_study", value=quote(key))
    return Own(source, _figures(table, "relative"), _figures(table, "absolute"))


def _figures(table: Table, key: str) -> dict[str, float]:
    figures = table.table(key, "no_table_of_measures")
    for name in sorted(figures.values.keys() - FIGURES.keys()):
        figures.fault(name, "no_such_measure")
    # The 0 is never used: where a figure is no number, the fault refuses the whole set.
    return {name: figures.number(name, above=0) or 0 for name in figures.values}
