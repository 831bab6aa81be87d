"""Draw the year strip of a patient: months as ticks, windows as bars, visits as dots, today as a dotted line.

The same grammar at 250 px in a list and across the page: filled = open, outlined = kept, dashed = planned,
the colour of care = last days or past. Colour never stands alone: the description says all of it in words.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from clinic.charts.svg import element, picture, text, titled, width_of
from clinic.formats.days import MONTHS, write_day
from clinic.formats.language import ENGLISH, Language, gettext_noop

Kind = Literal["open", "kept", "planned", "care"]
KIND_WORDS: Final[dict[Kind, str]] = {
    "open": gettext_noop("open"), "kept": gettext_noop("kept"), "planned": gettext_noop("planned"),
    "care": gettext_noop("in its last days or past"),
}  # fmt: skip

_SPAN: Final = gettext_noop("{start} to {end}")
_WINDOW: Final = gettext_noop("Window")
_WINDOW_RUNS: Final = gettext_noop("{name}: {earliest} to {latest}, target {target}, {state}.")
_VISIT: Final = gettext_noop("Visit")
_TODAY: Final = gettext_noop("Today")
_ON_A_DAY: Final = gettext_noop("{name}: {day}.")
_TODAY_ON_THE_STRIP: Final = gettext_noop("today")

WIDE: Final = 600  # px from which today is named
BAR: Final = 8.0
LANE: Final = 14.0
LINE: Final = 14.0  # one line of words
GAP: Final = 5.0  # least distance between two words, px
EDGE: Final = 4.0


@dataclass(frozen=True)
class Window:
    """When somebody should come: first, best and last day, and how the bar is drawn."""

    earliest: date
    target: date
    latest: date
    kind: Kind
    label: str = ""

    def __post_init__(self) -> None:
        if not self.earliest <= self.target <= self.latest:
            days = f"{self.earliest}, {self.target}, {self.latest}"
            raise ValueError(f"a window runs earliest, target, latest: {days}")


@dataclass(frozen=True)
class Dot:
    """A visit, or a picture."""

    day: date
    label: str = ""


@dataclass(frozen=True)
class Mark:
    """Words over the line at one day, such as an excision."""

    day: date
    text: str


@dataclass(frozen=True)
class Strip:
    """What a strip shows between `start` and `end`; what lies outside is described, not drawn."""

    start: date
    end: date
    today: date
    windows: Sequence[Window] = ()
    dots: Sequence[Dot] = ()
    marks: Sequence[Mark] = ()

    def __post_init__(self) -> None:
        if self.start >= self.end:
            raise ValueError(f"a strip starts before it ends: {self.start}, {self.end}")


@dataclass(frozen=True)
class _Words:
    """A word placed on the strip: left edge and line, counted upwards from the bars."""

    text: str
    left: float
    line: int

    @property
    def right(self) -> float:
        return self.left + width_of(self.text)


@dataclass(frozen=True)
class _Scale:
    start: date
    end: date
    width: float

    def x(self, day: date) -> float:
        inner = self.width - 2 * EDGE
        return EDGE + inner * (day - self.start).days / (self.end - self.start).days

    def holds(self, day: date) -> bool:
        return self.start <= day <= self.end

    @property
    def month(self) -> float:
        return (self.width - 2 * EDGE) * 30.44 / (self.end - self.start).days


def render(
    strip: Strip,
    *,
    width: int,
    height: int | None = None,
    title: str = "",
    desc: str = "",
    language: Language = ENGLISH,
) -> str:
    """Draw a strip as SVG.

    Parameters
    ----------
    strip : Strip
        What to show.
    width : int
        Width in px at which the words have their size; 250 in a list, about 1280 across a page.
    height : int, optional
        Least height in px; more is taken where lanes and words need it.
    title, desc : str
        Name and description for screen readers; written from the strip where empty.
    language : Language
        In which months, today and the description are written.

    Returns
    -------
    str
        One `svg` element with classes of the style sheet; every word escaped.
    """
    scale = _Scale(strip.start, strip.end, float(width))
    lanes = lane_of(strip.windows)
    marks = place_marks(strip, scale)
    words = LINE * (1 + max((mark.line for mark in marks), default=-1) + (width >= WIDE))
    above = words + LANE * max(1, 1 + max(lanes, default=0)) + 6
    total = max(float(height or 0), above + 21)
    axis = total - 21
    body = (
        "".join(_ticks(scale, axis, language))
        + "".join(_bar(window, lane, scale, axis) for window, lane in zip(strip.windows, lanes, strict=True))
        + "".join(_dots(strip, scale, axis))
        + _today(strip, scale, axis, total - axis, language)
        + "".join(_mark(mark, axis - LANE * max(1, 1 + max(lanes, default=0))) for mark in marks)
    )
    return picture(
        body, width=width, height=total, title=title or _span_of(strip, language),
        desc=desc or describe(strip, language),
    )  # fmt: skip


def _span_of(strip: Strip, language: Language) -> str:
    start, end = (write_day(day, language) for day in (strip.start, strip.end))
    return language.translate(_SPAN).format(start=start, end=end)


def describe(strip: Strip, language: Language = ENGLISH) -> str:
    """Say everything on the strip in sentences, for who cannot see it."""
    said = [_say_window(window, language) for window in strip.windows]
    dots = [(dot.label or language.translate(_VISIT), dot.day) for dot in strip.dots]
    marks = [(mark.text, mark.day) for mark in strip.marks]
    for name, day in [*dots, *marks, (language.translate(_TODAY), strip.today)]:
        said.append(language.translate(_ON_A_DAY).format(name=name, day=write_day(day, language)))
    return " ".join(said)


def _say_window(window: Window, language: Language) -> str:
    ends = {name: write_day(getattr(window, name), language) for name in ("earliest", "target", "latest")}
    name, state = window.label or language.translate(_WINDOW), language.translate(KIND_WORDS[window.kind])
    return language.translate(_WINDOW_RUNS).format(name=name, state=state, **ends)


def lane_of(windows: Sequence[Window]) -> list[int]:
    """Find the lowest lane in which each window meets no earlier one."""
    ends: list[list[Window]] = []
    lanes = []
    for window in windows:
        free = (lane for lane, kept in enumerate(ends) if not any(_meet(window, other) for other in kept))
        lane = next(free, len(ends))
        if lane == len(ends):
            ends.append([])
        ends[lane].append(window)
        lanes.append(lane)
    return lanes


def _meet(one: Window, other: Window) -> bool:
    return one.earliest <= other.latest and other.earliest <= one.latest


def month_starts(start: date, end: date) -> Iterator[date]:
    """List the first days of months in [start, end]."""
    index = start.year * 12 + start.month - 1 + (start.day > 1)
    while (day := date(index // 12, index % 12 + 1, 1)) <= end:
        yield day
        index += 1


def month_words(strip: Strip, width: float, language: Language = ENGLISH) -> list[tuple[float, str]]:
    """Give left edge and word under the axis: each month, each quarter or each year, whichever has room."""
    scale = _Scale(strip.start, strip.end, width)
    step = next((step for step, room in ((1, 33), (3, 58)) if scale.month * step >= room), 12)
    years = max(1, round(34 / (scale.month * 12) + 0.5))
    months = [
        day
        for day in month_starts(strip.start, strip.end)
        if (day.month - 1) % step == 0 and (step < 12 or day.year % years == 0)
    ]
    placed: list[tuple[float, str]] = []
    # A January carries the year and so is wider: it goes first, and its neighbour gives way.
    for day in sorted(months, key=lambda day: (day.month != 1, day != months[0], day)):
        left = scale.x(day) + 2
        for words in _month_names(day, step, language, first=day == months[0]):
            if _fits(left, words, placed, width):
                placed.append((left, words))
                break
    return sorted(placed)


def _month_names(day: date, step: int, language: Language, *, first: bool) -> list[str]:
    if step == 12:
        return [str(day.year)]
    short = language.translate(MONTHS[day.month - 1])
    dated = f"{short} {day.year}"
    if day.month == 1:
        return [dated]
    return [dated, short] if first else [short]


def _fits(left: float, words: str, placed: Sequence[tuple[float, str]], width: float) -> bool:
    right = left + width_of(words)
    return right <= width and all(
        right + GAP <= other or other + width_of(text) + GAP <= left for other, text in placed
    )


def _ticks(scale: _Scale, axis: float, language: Language) -> Iterator[str]:
    yield element("line", x1=EDGE, y1=axis, x2=scale.width - EDGE, y2=axis, class_="axis")
    step = next((step for step in (1, 3) if scale.month * step >= 4), 12)
    for day in month_starts(scale.start, scale.end):
        if (day.month - 1) % step == 0:
            length = 9 if day.month % 3 == 1 else 4
            yield element("line", x1=scale.x(day), y1=axis, x2=scale.x(day), y2=axis + length, class_="tick")
    for left, words in month_words(Strip(scale.start, scale.end, scale.start), scale.width, language):
        yield text(words, left, axis + 15)


def _bar(window: Window, lane: int, scale: _Scale, axis: float) -> str:
    if window.latest < scale.start or window.earliest > scale.end:
        return ""
    left, right = (scale.x(min(max(day, scale.start), scale.end)) for day in (window.earliest, window.latest))
    top = axis - 4 - BAR - LANE * lane
    # A window of one day is a bar all the same.
    wide = max(right - left, 3)
    bar = element("rect", x=left, y=top, width=wide, height=BAR, class_=f"window {window.kind}")
    target = scale.x(window.target)
    # The stroke stands on a halo of the ground, or it would drown in a filled bar; a sliver has none to spare.
    halo = element("line", x1=target, y1=top, x2=target, y2=top + BAR, class_="halo") if wide > 12 else ""
    stroke = element("line", x1=target, y1=top - 3, x2=target, y2=top + BAR + 3, class_="target")
    return element("g", titled(window.label) + bar + (halo + stroke if scale.holds(window.target) else ""))


def _dots(strip: Strip, scale: _Scale, axis: float) -> Iterator[str]:
    for dot in strip.dots:
        if scale.holds(dot.day):
            yield element("circle", titled(dot.label), cx=scale.x(dot.day), cy=axis, r=3.6, class_="dot")


def _today(strip: Strip, scale: _Scale, axis: float, below: float, language: Language) -> str:
    if not scale.holds(strip.today):
        return ""
    x = scale.x(strip.today)
    named = scale.width >= WIDE
    line = element("line", x1=x, y1=LINE if named else 1, x2=x, y2=axis + below / 2 - 3, class_="today")
    word = language.translate(_TODAY_ON_THE_STRIP)
    left = min(max(x, width_of(word) / 2), scale.width - width_of(word) / 2)
    return line + (text(word, left, 10, class_="today-word", text_anchor="middle") if named else "")


def place_marks(strip: Strip, scale: _Scale) -> list[_Words]:
    """Place each mark on the lowest line where it meets neither another word nor the line of today."""
    placed: list[_Words] = []
    today = scale.x(strip.today) if scale.holds(strip.today) else -100.0
    for mark in sorted(strip.marks, key=lambda mark: mark.day):
        if scale.holds(mark.day) and width_of(mark.text) <= scale.width:
            placed.append(_place(mark, scale, placed, today))
    return placed


def _place(mark: Mark, scale: _Scale, placed: Sequence[_Words], today: float) -> _Words:
    wide = width_of(mark.text)
    lefts = [min(max(scale.x(mark.day) - share * wide, 0), scale.width - wide) for share in (0.5, 0, 1)]
    line = 0
    while True:
        for left in lefts:
            # Above all the others it may cross today's line at last, or a strip too narrow for both would never end.
            clear = line > len(placed) or not left - GAP < today < left + wide + GAP
            if clear and all(_apart(left, wide, other) for other in placed if other.line == line):
                return _Words(mark.text, left, line)
        line += 1


def _apart(left: float, wide: float, other: _Words) -> bool:
    return left + wide + GAP <= other.left or other.right + GAP <= left


def _mark(words: _Words, base: float) -> str:
    return text(words.text, words.left, base - 6 - LINE * words.line)
