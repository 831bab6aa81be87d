"""Rings as people draw them, against shapes whose answer is plain geometry."""

import math

import pytest

from lesions.analysis.types import Message
from lesions.pictures import polygons, wording
from lesions.pictures.polygons import BadOutline

SQUARE = ((10.0, 10.0), (90.0, 10.0), (90.0, 90.0), (10.0, 90.0))


def circle(count=160, radius=100.0, at=(200.0, 200.0)):
    angles = (2 * math.pi * i / count for i in range(count))
    return [(at[0] + radius * math.cos(a), at[1] + radius * math.sin(a)) for a in angles]


def test_every_way_to_write_a_ring_is_one_ring():
    turned = [SQUARE[2], SQUARE[3], SQUARE[0], SQUARE[1]]
    ways = (SQUARE, tuple(reversed(SQUARE)), turned, [*SQUARE, SQUARE[0]], [SQUARE[0], *SQUARE])
    assert {polygons.checked(way, 100, 100) for way in ways} == {SQUARE}


@pytest.mark.parametrize(
    ("points", "code", "params"),
    [
        ([], "too_few_different_points", {}),
        ([(1, 1), (50, 50)], "too_few_different_points", {}),
        ([(1, 1), (1, 1), (50, 50)], "too_few_different_points", {}),
        ([(10, 10), (50, 50), (90, 90)], "encloses_nothing", {}),
        ([(10, 10), (90, 90), (90, 10), (10, 90)], "encloses_nothing", {}),
        ([(10, 10), (90, 90), (90, 10), (10, 60)], "crosses_itself", {"one": 1, "two": 3}),
        ([(10, 10), (90, 10), (40, 10), (40, 90)], "crosses_itself", {"one": 1, "two": 2}),
        (
            [(10, 10), (50, 50), (90, 10), (90, 90), (50, 50), (10, 90)],
            "crosses_itself",
            {"one": 1, "two": 4},
        ),
        ([(-1, 10), (50, 10), (50, 50)], "point_outside", {}),
        ([(10, 10), (101, 10), (50, 50)], "point_outside", {}),
        ([(10, 10), (math.nan, 10), (50, 50)], "point_is_no_number", {}),
        (circle(401, 40, (50, 50)), "too_many_points", {"most": 400, "points": 401}),
    ],
)
def test_a_ring_that_is_none_is_refused_and_says_why(points, code, params):
    with pytest.raises(BadOutline) as refused:
        polygons.checked(points, 100, 100)
    assert (refused.value.code, refused.value.params) == (code, params)
    assert wording.sentence(Message(code, params)).endswith(".")


def test_the_area_is_that_of_the_shoelace():
    assert polygons.signed_area(SQUARE) == 6400
    assert polygons.signed_area(tuple(reversed(SQUARE))) == -6400


def test_thinning_keeps_the_shape_in_points_that_a_hand_can_move():
    """A regular 24-gon in a circle holds 98.9 % of its area (12 sin(15 degrees) / pi)."""
    few = polygons.thinned(circle())
    assert 12 <= len(few) <= 32
    assert abs(polygons.signed_area(few)) / (math.pi * 100**2) == pytest.approx(1, abs=0.02)
    assert set(few) <= set(circle())
    assert polygons.thinned(SQUARE) == list(SQUARE)
