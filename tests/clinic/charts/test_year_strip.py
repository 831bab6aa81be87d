"""The year strip draws what it is told, in words that never overlap, as SVG that cannot carry a script."""

import re
from datetime import date, timedelta
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.charts import phases, year_strip
from clinic.charts.phases import PhaseMark
from clinic.charts.svg import width_of
from clinic.charts.year_strip import Dot, Mark, Strip, Window
from clinic.formats.language import Language

SVG = "{http://www.w3.org/2000/svg}"
TODAY = date(2026, 11, 25)
YEAR = Strip(
    date(2026, 6, 1),
    date(2027, 2, 28),
    TODAY,
    [
        Window(date(2026, 10, 21), date(2026, 11, 4), date(2026, 11, 25), "care", "Full skin check"),
        Window(date(2027, 1, 21), date(2027, 2, 4), date(2027, 2, 25), "planned"),
    ],
    [Dot(date(2026, 8, 6), "Seen")],
    [Mark(date(2026, 8, 4), "excision")],
)


def drawn(one, **how):
    return ElementTree.fromstring(year_strip.render(one, **{"width": 250, **how}))


def of_class(svg, name):
    return [part for part in svg.iter() if name in part.get("class", "").split()]


def x_of(one, day, width):
    share = (day - one.start).days / (one.end - one.start).days
    return year_strip.EDGE + share * (width - 2 * year_strip.EDGE)


@pytest.mark.parametrize("width", [250, 1280])
def test_bars_dots_and_today_stand_at_their_days(width):
    svg = drawn(YEAR, width=width)
    bar = of_class(svg, "care")[0]
    assert float(bar.get("x")) == pytest.approx(x_of(YEAR, date(2026, 10, 21), width), abs=0.01)
    right = float(bar.get("x")) + float(bar.get("width"))
    assert right == pytest.approx(x_of(YEAR, date(2026, 11, 25), width), abs=0.02)
    for name, where, day in (
        ("target", "x1", date(2026, 11, 4)),
        ("dot", "cx", date(2026, 8, 6)),
        ("today", "x1", TODAY),
    ):
        assert float(of_class(svg, name)[0].get(where)) == pytest.approx(x_of(YEAR, day, width), abs=0.01)
    assert len(of_class(svg, "planned")) == 1


def test_ticks_are_months_and_longer_at_quarters():
    ticks = of_class(drawn(YEAR), "tick")
    lengths = [float(tick.get("y2")) - float(tick.get("y1")) for tick in ticks]
    # 1 Jun 2026 to 1 Feb 2027: Jun Jul Aug Sep Oct Nov Dec Jan Feb; quarters begin in Jul, Oct, Jan.
    assert lengths == [4, 9, 4, 4, 9, 4, 4, 9, 4]


def test_the_description_says_all_of_it_in_words():
    desc = drawn(YEAR).find(f"{SVG}desc").text
    assert desc == (
        "Full skin check: 21 Oct 2026 to 25 Nov 2026, target 4 Nov 2026, in its last days or past. "
        "Window: 21 Jan 2027 to 25 Feb 2027, target 4 Feb 2027, planned. "
        "Seen: 6 Aug 2026. excision: 4 Aug 2026. Today: 25 Nov 2026."
    )
    named = drawn(YEAR, title="Plan of one patient", desc="Due now.")
    assert named.find(f"{SVG}title").text == "Plan of one patient"
    assert named.find(f"{SVG}desc").text == "Due now."
    assert named.get("role") == "img"


def test_what_lies_outside_is_described_and_not_drawn():
    past = Window(date(2025, 1, 1), date(2025, 1, 2), date(2025, 1, 3), "kept")
    svg = drawn(Strip(YEAR.start, YEAR.end, date(2020, 1, 1), [past], [Dot(date(2025, 1, 2))]))
    assert not of_class(svg, "kept") and not of_class(svg, "dot") and not of_class(svg, "today")
    assert "3 Jan 2025" in svg.find(f"{SVG}desc").text


def test_a_window_of_one_day_is_still_seen():
    day = Window(TODAY, TODAY, TODAY, "care")
    svg = drawn(Strip(date(2024, 1, 1), date(2028, 1, 1), TODAY, [day]))
    assert float(of_class(svg, "care")[0].get("width")) == 3
    assert not of_class(svg, "halo")


def test_windows_that_meet_lie_in_lanes():
    days = [[date(2026, 7, first + after) for after in (0, 3, 9)] for first in (1, 5, 12)]
    one, two, three = (Window(*three_days, "open") for three_days in days)
    assert year_strip.lane_of([one, two, three]) == [0, 1, 0]
    svg = drawn(Strip(YEAR.start, YEAR.end, TODAY, [one, two]))
    tops = [float(bar.get("y")) for bar in of_class(svg, "open")]
    assert abs(tops[0] - tops[1]) > year_strip.BAR


def test_words_are_escaped_and_nothing_is_inline():
    nasty = '<script>alert("1")</script>'
    svg = year_strip.render(
        Strip(YEAR.start, YEAR.end, TODAY, [], [Dot(TODAY, nasty)], [Mark(TODAY, nasty)]),
        width=1280, title=nasty, desc=nasty,
    )  # fmt: skip
    assert "<script" not in svg
    assert not re.search(r"\sstyle=|\son\w+=|href", svg)
    assert ElementTree.fromstring(svg).find(f"{SVG}title").text == nasty


def test_a_strip_or_window_the_wrong_way_round_is_refused():
    with pytest.raises(ValueError, match="starts before it ends"):
        Strip(TODAY, TODAY, TODAY)
    with pytest.raises(ValueError, match="earliest, target, latest"):
        Window(TODAY, TODAY - timedelta(1), TODAY, "open")


days = st.dates(date(2015, 1, 1), date(2035, 1, 1))
spans = st.integers(20, 365 * 15)
words = st.text("abcdefgh ", min_size=1, max_size=24)


@settings(max_examples=150, deadline=None)
@given(days, spans, st.integers(120, 1900))
def test_labels_under_the_axis_never_overlap_nor_leave_the_strip(start, span, width):
    labels = year_strip.month_words(Strip(start, start + timedelta(span), start), width)
    for (left, text), (following, _) in pairwise(labels):
        assert left + width_of(text) < following
    assert all(left >= 0 and left + width_of(text) <= width for left, text in labels)


@settings(max_examples=100, deadline=None)
@given(days, st.lists(st.tuples(st.integers(0, 400), words), max_size=9), st.integers(0, 400))
def test_marks_never_overlap_each_other(start, marks, today):
    noted = [Mark(start + timedelta(after), text) for after, text in marks]
    one = Strip(start, start + timedelta(400), start + timedelta(today), marks=noted)
    placed = year_strip.place_marks(one, year_strip._Scale(one.start, one.end, 600))
    assert len(placed) == len(marks)
    for index, mark in enumerate(placed):
        assert mark.left >= 0 and mark.right <= 600.01
        for other in placed[:index]:
            assert mark.line != other.line or mark.right < other.left or other.right < mark.left


def test_one_label_a_quarter_in_a_list_and_one_a_month_across_the_page():
    assert [text for _, text in year_strip.month_words(YEAR, 250)] == ["Jul 2026", "Oct", "Jan 2027"]
    wide = [text for _, text in year_strip.month_words(YEAR, 1280)]
    assert wide == ["Jun 2026", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec", "Jan 2027", "Feb"]


def test_phases_have_a_stroke_for_each_occurrence():
    svg = ElementTree.fromstring(
        phases.render([PhaseMark("2 years, every 3 months", 3, 24), PhaseMark("then ask", 0, 12, True)], 800)
    )
    strokes = [line for line in of_class(svg, "phase") if line.get("x1") == line.get("x2")]
    assert len(strokes) == 8
    assert float(strokes[-1].get("x1")) == pytest.approx(1 + 798 * 24 / 36, abs=0.01)
    assert len(of_class(svg, "dashed")) == 1
    assert svg.find(f"{SVG}desc").text == "2 years, every 3 months; then ask."


def test_phase_labels_never_overlap():
    marks = [PhaseMark("a first phase with many words", 1, 1), PhaseMark("a second one", 6, 60)]
    svg = ElementTree.fromstring(phases.render(marks, 500))
    placed = [(float(t.get("x")), float(t.get("y")), t.text) for t in svg.iter(f"{SVG}text")]
    (x1, y1, text), (x2, y2, _) = placed
    assert y1 != y2 or x1 + width_of(text) < x2


def test_every_word_of_a_strip_is_in_the_language_that_is_handed_in():
    marked = Language(lambda text: f"<{text}>", lambda one, many, count: f"<{one if count == 1 else many}>")
    svg = ElementTree.fromstring(year_strip.render(YEAR, width=960, language=marked))
    shown = [part.text for part in svg.iter(f"{SVG}text")]
    assert "<today>" in shown and "excision" in shown
    assert all(word.startswith("<") for word in shown if word != "excision")
    said = svg.find(f"{SVG}desc").text
    assert said.startswith(
        "<Full skin check: <21 <Oct> 2026> to <25 <Nov> 2026>, target <4 <Nov> 2026>, <in its last days"
    )
    assert "<<Window>: " in said and said.endswith("<<Today>: <25 <Nov> 2026>.>")
