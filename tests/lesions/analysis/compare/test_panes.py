"""Both panes at one scale: worked by hand in plane geometry."""

import math

import pytest

from lesions.analysis.compare import panes
from lesions.analysis.types import Comparison, Measurement, Message, Registration, Scale

APART = Registration(False, None, None, None, False)


def picture(width, height, mm_per_px=None, unsure=0.01):
    scale = None if mm_per_px is None else Scale(mm_per_px, "ruler", unsure)
    return Measurement("v", "", width, height, scale, None, (), (), ())


def shown(earlier, later, laid=APART):
    return panes.of(Comparison("v", earlier, later, laid))


def aligned(zoom, turn=0.0, tx=0.0, ty=0.0):
    c, s = zoom * math.cos(turn), zoom * math.sin(turn)
    return Registration(True, "skin", ((c, -s, tx), (s, c, ty)), 0.4, False)


def test_two_scales_make_extents_of_the_same_millimetres():
    one, two = shown(picture(1000, 750, 0.02), picture(2000, 1500, 0.012))
    assert [side * 0.02 for side in one.extent] == pytest.approx(
        [side * two.mm_per_px for side in two.extent]
    )
    assert two.extent == pytest.approx((2000, 1500)) and two.centre == (1000, 750)


@pytest.mark.parametrize("turn", [0, 0.3])
def test_an_alignment_puts_the_same_skin_in_the_middle_of_both(turn):
    laid = aligned(0.8, turn, 60, -20)
    one, two = shown(picture(1000, 750), picture(1000, 750), laid)
    assert [a / b for a, b in zip(one.extent, two.extent, strict=True)] == pytest.approx([0.8, 0.8])
    x, y = two.centre
    assert [a * x + b * y + t for a, b, t in laid.matrix] == pytest.approx(one.centre)


def test_no_part_of_either_picture_is_cut_off():
    for one, two in (shown(picture(1000, 750), picture(800, 600), aligned(1.2, 0.2, 150, -90)),):
        for pane, (width, height) in ((one, (1000, 750)), (two, (800, 600))):
            for centre, extent, whole in zip(pane.centre, pane.extent, (width, height), strict=True):
                assert centre - extent / 2 <= 1e-6 and centre + extent / 2 >= whole - 1e-6


def test_the_surer_scale_is_carried_to_the_other_picture():
    one, two = shown(picture(900, 600, 0.020, 0.05), picture(900, 600, 0.021, 0.005), aligned(1.0))
    assert (one.mm_per_px, two.mm_per_px) == pytest.approx((0.021, 0.021))


def test_what_nothing_tells_is_not_shown_at_one_scale():
    assert shown(picture(900, 600, 0.02), picture(900, 600)) is None
    wrong = Registration(False, None, None, None, False, (Message("scales_disagree", {"off": 0.2}),))
    assert shown(picture(900, 600, 0.02), picture(900, 600, 0.03), wrong) is None
