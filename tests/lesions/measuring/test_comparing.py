"""Two pictures on one page: panes of one scale, and sentences on what is not shown."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from lesions.analysis.types import (
    Comparison,
    Delta,
    Measurement,
    Message,
    Outline,
    Region,
    Registration,
    Scale,
)
from lesions.measuring import comparing

LAID = Registration(True, "skin", ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)), 0.4, False)
LOST = Registration(False, None, None, None, False, (Message("skin_not_found"),))
RING = ((1.0, 1.0), (9.0, 1.0), (9.0, 9.0))


def picture(drawn_by="automatic", scale=None):
    return Measurement("v", "", 100, 80, scale, Outline(RING, drawn_by), (), (), ())


def notes(
    laid=LAID, beyond=False, kinds=(), known=True, both=("automatic", "automatic"), scale=None, rim=None
):
    area = Delta("area_px", "px²", 10.0, 12.0, 2.0 if known else None, 0.2, 0.4, beyond if known else None)
    regions = tuple(Region(RING, kind, 1.0, "px²") for kind in kinds)
    pictures = [picture(by, scale) for by in both]
    deltas = (area,)
    if rim == "moved":
        deltas += (Delta("rim_area", "share", 1.0, 1.08, 0.08, 0.015, 0.0294, True),)
    elif rim == "stayed":
        pictures[1] = replace(pictures[1], doubt=(Message("rim_unmoved"),))
    result = Comparison("v", *pictures, laid, deltas, regions).to_json()
    return comparing.side_by_side(SimpleNamespace(result=result)).notes


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        (notes(), []),
        (notes(beyond=True, kinds=["grown"]), []),
        (notes(beyond=True), ["rim too thin to be drawn"]),
        (notes(kinds=["grown"]), ["Grown parts are drawn; the area as a whole"]),
        (notes(kinds=["grown"], rim="moved"), ["drawn where the rim moved; the two outlines alone"]),
        (notes(beyond=True, rim="stayed"), ["although the rim was not seen to move with it. Check it."]),
        (notes(both=("person", "automatic")), ["hand outline against an automatic one"]),
        (
            notes(LOST, known=False),
            ["not found again in the other picture. Overlay and change map", "No change of size", "scale"],
        ),
        (
            notes(LOST, known=False, scale=Scale(0.02, "ruler", 0.01)),
            ["not found again in the other picture. Overlay and change map", "No change of size"],
        ),
    ],
)
def test_the_page_says_what_it_does_not_show_and_why(shown, words):
    assert len(shown) == len(words)
    assert all(word in note for word, note in zip(words, shown, strict=True))


def test_without_an_earlier_picture_there_is_nothing_to_say():
    assert comparing.side_by_side(None) == comparing.SideBySide(None, None, ())
