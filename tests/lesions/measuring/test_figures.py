"""Figures and changes in words."""

from datetime import date
from types import SimpleNamespace

import pytest

from clinic.templatetags import quarterday
from lesions.measuring import figures


@pytest.mark.parametrize(
    ("later", "words"),
    [
        (date(2026, 3, 1), "the same day"),
        (date(2026, 3, 2), "1 day later"),
        (date(2026, 6, 3), "3 months later"),
        (date(2026, 5, 30), "3 months later"),
        (date(2026, 5, 31), "3 months later"),
        (date(2026, 5, 20), "2 months 19 days later"),
        (date(2027, 4, 5), "1 year 1 month later"),
    ],
)
def test_the_gap_between_two_pictures(later, words):
    assert figures.gap_words(date(2026, 3, 1), later) == words


def compared(aligned=True, drawn=("automatic", "automatic"), kinds=(), **deltas):
    rows = [{"name": name, "unit": "mm²"} | row for name, row in deltas.items()]
    outlines = [{"outline": {"drawn_by": by}} for by in drawn]
    result = {"deltas": rows, "earlier": outlines[0], "later": outlines[1]}
    return SimpleNamespace(aligned=aligned, result=result | {"regions": [{"kind": kind} for kind in kinds]})


def delta(change, beyond):
    known = change is not None
    return {
        "earlier": 10.0,
        "later": 10.0 + change if known else None,
        "delta": change,
        "uncertainty": 0.2,
        "smallest_detectable": 0.5,
        "beyond": beyond,
    }


@pytest.mark.parametrize(
    ("comparison", "words"),
    [
        (None, "first picture"),
        (compared(aligned=False, area=delta(3.0, True)), "pictures do not align"),
        (compared(area=delta(3.0, True)), "area +30 %"),
        (compared(area=delta(-2.0, True)), "area −20 %"),
        (compared(area=delta(0.3, False)), "none found"),
        (compared(area=delta(None, None), area_px=delta(3.0, True)), "area +30 %"),
        (compared(area=delta(None, None)), "not measured"),
        (compared(area=delta(0.3, False), feret=delta(1.7, True)), "largest diameter +17 %"),
        (compared(area=delta(0.3, False), rim_area=delta(0.8, True)), "area by the rim found again +8 %"),
        (compared(area=delta(0.3, False), colour_red=delta(0.1, True)), "red"),
        (compared(area=delta(0.3, False), kinds=["new_colour"]), "a patch of new colour"),
        (compared(area=delta(3.0, True), kinds=["grown", "darker"]), "area +30 %, a darker patch"),
        (
            compared(area=delta(0.3, False), feret=delta(None, None)),
            "none found; not measured: largest diameter",
        ),
        (
            compared(area=delta(0.3, False), drawn=("person", "automatic")),
            "none found (hand outline against an automatic one)",
        ),
    ],
)
def test_the_change_of_a_lesion_in_one_cell(comparison, words):
    assert figures.change_words(comparison) == words


@pytest.mark.parametrize("own", [None, SimpleNamespace(smallest=lambda *_: 1.39)])
def test_counts_change_by_whole_numbers_whoever_measured(own):
    """A clinic's own study gives 1.39 axes; nobody sees less than two (clinic setting, no source)."""
    axes = delta(1.0, False) | {"unit": "axes", "smallest_detectable": 1.39}
    (row,) = figures.changes(compared(asymmetry_axes=axes), own)
    assert row.smallest.value == 2 and row.words == "within what repeated pictures differ"


def test_millimetres_go_before_pixels_which_stand_where_there_are_none():
    both = compared(area=delta(3.0, True), area_px=delta(300.0, True))
    assert [row.earlier.unit for row in figures.changes(both)] == ["mm²"]
    none = compared(area=delta(None, None), area_px=delta(3.0, True) | {"unit": "px²"})
    assert [row.delta.value for row in figures.changes(none)] == [3.0]


def test_a_share_is_read_as_per_cent():
    row = {
        "name": "colour_red",
        "value": 0.06,
        "unit": "share",
        "uncertainty": 0.03,
        "method": {"code": "colour", "params": {}},
    }
    found = figures.figure({"measures": [row]}, "colour_red")
    assert (found.name, found.value, found.unit, found.uncertainty) == ("red", 6.0, "%", 3.0)


def test_whole_things_are_counted_in_whole_numbers():
    row = {"name": "asymmetry_axes", "unit": "axes"} | delta(1.0, False) | {"earlier": 1.0, "later": 2.0}
    found = figures.changes(SimpleNamespace(result={"deltas": [row | {"smallest_detectable": 1.39}]}))[0]
    assert (found.smallest.value, found.delta.uncertainty) == (2, None)
    assert (quarterday.mm(found.earlier), quarterday.mm(found.later)) == ("1 axis", "2 axes")
    assert quarterday.of_count("colours", 1.0) == "colour" and quarterday.of_count("colours", 3) == "colours"


def test_a_change_between_outlines_of_which_one_is_in_doubt_says_so():
    unsure = compared(area=delta(3.0, True))
    unsure.result["earlier"] = {"doubt": [{"code": "ragged", "params": {}}]}
    assert figures.change_words(unsure) == "outline in doubt"
    assert [row.words for row in figures.changes(unsure)] == ["in doubt: check the outline first"]
