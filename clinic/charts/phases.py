"""Draw the phases of a rule on a line of time: one stroke for each occurrence, one stretch for each phase."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from clinic.charts.svg import element, picture, text, width_of
from clinic.formats.language import ENGLISH, Language, gettext_noop

OPEN_MONTHS: Final = 24  # how much of a phase without end is drawn, at least two occurrences
EDGE: Final = 1.0
LINE: Final = 16.0
AXIS: Final = 10.0
_TITLE: Final = gettext_noop("Time line of the rule")


@dataclass(frozen=True)
class PhaseMark:
    """`months` = None: no end. `dashed`: no interval runs, a person decides."""

    label: str
    interval_months: float
    months: float | None
    dashed: bool = False

    @property
    def drawn_months(self) -> float:
        return self.months if self.months is not None else max(OPEN_MONTHS, 2.5 * self.interval_months)


def render(phases: Sequence[PhaseMark], width: int, language: Language = ENGLISH) -> str:
    """Draw the phases of one rule as SVG, `width` px wide, with its words in the description."""
    if not phases:
        raise ValueError("a time line has at least one phase")
    scale = (width - 2 * EDGE) / sum(phase.drawn_months for phase in phases)
    body, left, ends = [], EDGE, [0.0]
    for phase in phases:
        right = left + phase.drawn_months * scale
        body.append(_stretch(phase, left, right, scale))
        # A label that would run into its neighbour goes one line down.
        line = next((line for line, end in enumerate(ends) if end + 8 <= left or end == 0), len(ends))
        ends[line : line + 1] = [left + width_of(phase.label)]
        x = min(left, max(0, width - width_of(phase.label)))
        body.append(text(phase.label, x, AXIS + 22 + LINE * line))
        left = right
    return picture(
        "".join(body), width=width, height=AXIS + 28 + LINE * (len(ends) - 1),
        title=language.translate(_TITLE), desc="; ".join(phase.label for phase in phases) + ".",
    )  # fmt: skip


def _stretch(phase: PhaseMark, left: float, right: float, scale: float) -> str:
    start = left + (2 if left > EDGE else 0)
    kind = "phase dashed" if phase.dashed else "phase"
    line = element("line", x1=start, y1=AXIS, x2=right, y2=AXIS, class_=kind)
    if phase.dashed or phase.interval_months <= 0:
        return line
    # A hair more, or a phase of whole intervals would lose its last stroke to a fraction.
    count = int(phase.drawn_months / phase.interval_months + 1e-9)
    xs = [left + (k + 1) * phase.interval_months * scale for k in range(count)]
    return line + "".join(element("line", x1=x, y1=AXIS - 6, x2=x, y2=AXIS + 6, class_="phase") for x in xs)
