"""Draw counts over time as columns, as the year strip draws: outlined = as it is, filled = as it would be.

A limit is a stroke across its column, as a target is in a window. What the columns mean stands in words
above them, every count in the description, so nothing rests on colour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from clinic.charts.svg import element, picture, text, titled, width_of
from clinic.charts.year_strip import BAR, EDGE, GAP, LINE, Kind
from clinic.formats.language import ENGLISH, Language, gettext_noop

BELOW: Final = 22.0  # ticks and labels under the axis
_LIMIT: Final = gettext_noop("limit {count}")


@dataclass(frozen=True)
class Bar:
    """One bar of a column, by its height and how it is drawn."""

    count: float
    kind: Kind

    def __post_init__(self) -> None:
        if self.count < 0:
            raise ValueError(f"a column counts from nothing upwards: {self.count}")


@dataclass(frozen=True)
class Column:
    """What stands over one stretch of time: bars, and a limit across them."""

    label: str
    bars: Sequence[Bar]
    limit: float | None = None
    words: str = ""  # for the description, where the label is not enough


@dataclass(frozen=True)
class Chart:
    """`meaning`: what each kind of bar stands for, in the order of the legend."""

    title: str
    columns: Sequence[Column]
    meaning: Mapping[Kind, str]


def render(
    columns: Sequence[Column],
    meaning: Mapping[Kind, str],
    *,
    width: int,
    height: int = 170,
    title: str,
    language: Language = ENGLISH,
) -> str:
    """Draw columns as SVG.

    Parameters
    ----------
    columns : sequence of Column
        At least one; from left to right.
    meaning : mapping of Kind to str
        What each kind of bar stands for; the legend, in this order.
    width, height : int
        Size in px at which the words have their size.
    title : str
        Name for screen readers and of the picture.
    language : Language
        In which limits are named.

    Returns
    -------
    str
        One `svg` element; every word escaped.
    """
    if not columns:
        raise ValueError("a chart has at least one column")
    axis = height - BELOW
    top = LINE * 2 + 6
    most = max(max([*(bar.count for bar in one.bars), one.limit or 0]) for one in columns)
    # A chart of nothing but noughts has an axis too.
    scale = (axis - top) / max(most, 1)
    step = (width - 2 * EDGE) / len(columns)
    body = _legend(meaning) + element("line", x1=EDGE, y1=axis, x2=width - EDGE, y2=axis, class_="axis")
    body += "".join(
        _column(one, EDGE + k * step, step, axis, scale, _counts(one, meaning, language))
        for k, one in enumerate(columns)
    )
    body += _labels(columns, step, axis, width)
    said = describe(columns, meaning, language)
    return picture(body, width=width, height=height, title=title, desc=said)


def describe(columns: Sequence[Column], meaning: Mapping[Kind, str], language: Language = ENGLISH) -> str:
    """Say every count in a sentence, for who cannot see the chart."""
    return " ".join(f"{_counts(one, meaning, language)}." for one in columns)


def _counts(one: Column, meaning: Mapping[Kind, str], language: Language) -> str:
    said = [f"{_figure(bar.count)} {meaning[bar.kind]}" for bar in one.bars]
    if one.limit is not None:
        said.append(language.translate(_LIMIT).format(count=_figure(one.limit)))
    return f"{one.words or one.label}: {', '.join(said)}"


def _figure(count: float) -> str:
    return f"{count:,.0f}"


def _legend(meaning: Mapping[Kind, str]) -> str:
    left, parts = EDGE, []
    for kind, words in meaning.items():
        parts.append(element("rect", x=left, y=2, width=14, height=BAR, class_=f"window {kind}"))
        parts.append(text(words, left + 19, 10))
        left += 19 + width_of(words) + 3 * GAP
    return "".join(parts)


def _column(one: Column, left: float, step: float, axis: float, scale: float, said: str) -> str:
    wide = step * 0.8 / max(len(one.bars), 1)
    start = left + step * 0.1
    parts = [titled(said)]
    for k, bar in enumerate(one.bars):
        x, tall = start + k * wide, bar.count * scale
        parts.append(
            element(
                "rect", x=x, y=axis - tall, width=max(wide - 2, 1), height=tall, class_=f"window {bar.kind}"
            )
        )
        # A figure wider than its bar would run into the next one; the description has every figure.
        if bar.count and width_of(_figure(bar.count)) <= wide + 1:
            middle = x + (wide - 2) / 2
            parts.append(text(_figure(bar.count), middle, axis - tall - 4, text_anchor="middle"))
    if one.limit is not None:
        y = axis - one.limit * scale
        parts.append(element("line", x1=left, y1=y, x2=left + step, y2=y, class_="target"))
    return element("g", "".join(parts))


def _labels(columns: Sequence[Column], step: float, axis: float, width: float) -> str:
    """Write a tick for each column; a label only where it stands clear of the one before."""
    parts, end = [], 0.0
    for k, one in enumerate(columns):
        left = EDGE + k * step
        fits = one.label and left >= end and left + width_of(one.label) <= width
        parts.append(element("line", x1=left, y1=axis, x2=left, y2=axis + (9 if fits else 4), class_="tick"))
        if fits:
            parts.append(text(one.label, left + 3, axis + 15))
            end = left + width_of(one.label) + GAP
    return "".join(parts)
