"""Two pictures of one lesion: alignment, deltas, changed regions. Truth is the drawing's own (plane geometry).

How many per cent are shown as change is a clinic setting, no source.
"""

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from lesions.analysis import pipeline
from lesions.analysis.compare import change, growth
from lesions.analysis.drawing.phantom import grown, recaptured, with_new_patch
from lesions.analysis.picture import contour
from lesions.analysis.types import Comparison, Outline, Registration, Scale
from tests.lesions.analysis.pictures import compared, drawn, jpeg, measured, real, small

BASE = small(31, axes_mm=(6.0, 5.0), irregularity=0.4, hair=0.3)
SAME, GREW = recaptured(BASE, 3), recaptured(grown(BASE, 1.15), 4)
BULGED = recaptured(grown(BASE, 1.12, one_sided=True), 5)
PATCHED = recaptured(with_new_patch(BASE, "blue_grey"), 6)


def delta(result, name):
    return next(d for d in result.deltas if d.name == name)


def error_of(result, first, second):
    """Root mean square distance in earlier pixels between the true outlines after alignment."""
    matrix = np.array(result.registration.matrix)
    moved = np.array(drawn(second)[1].truth["outline"]) @ matrix[:, :2].T + matrix[:, 2]
    return float(np.sqrt(((moved - np.array(drawn(first)[1].truth["outline"])) ** 2).sum(axis=1).mean()))


def test_a_recapture_aligns_and_shows_no_change():
    result = compared(BASE, SAME)
    assert result.registration.aligned and not result.registration.mirrored
    assert error_of(result, BASE, SAME) < 1.5
    assert delta(result, "area").beyond is False and delta(result, "feret").beyond is False
    assert {r.kind for r in result.regions} <= {"darker", "lighter"}
    assert sum(r.area for r in result.regions) < 0.05 * measured(BASE).value("area")


def test_growth_is_beyond_what_repeated_shots_show():
    found = delta(compared(BASE, GREW), "area")
    assert found.beyond is True
    assert found.delta / found.earlier == pytest.approx(0.15, abs=0.05)


def test_growth_to_one_side_is_shown_where_it_is():
    result = compared(BASE, BULGED)
    assert delta(result, "area").beyond is True
    regions = [r for r in result.regions if r.kind == "grown"]
    gained = drawn(BASE)[1].truth["area_mm2"] * 0.12
    assert sum(r.area for r in regions) == pytest.approx(gained, rel=0.5)
    assert all(r.unit == "mm²" for r in regions)


def test_growth_all_round_is_drawn_round_the_lesion_and_not_over_it():
    grew = [r for r in compared(BASE, GREW).regions if r.kind == "grown"]
    drawn_over = sum(contour.area(np.array(r.points)) for r in grew) * BASE.mm_per_px**2
    assert drawn_over == pytest.approx(sum(r.area for r in grew), rel=0.25)
    assert drawn_over < 0.3 * measured(BASE).value("area")


def test_growth_is_said_to_be_symmetric_or_one_sided():
    assert growth.shape(compared(BASE, GREW)) == "symmetric"
    assert growth.shape(compared(BASE, BULGED)) == "one-sided"
    assert growth.shape(compared(BASE, SAME)) is None


def test_a_new_colour_is_shown_where_it_is():
    result = compared(BASE, PATCHED)
    fresh = [r for r in result.regions if r.kind == "new_colour"]
    assert fresh
    place = np.mean(np.concatenate([np.array(r.points) for r in fresh]), axis=0)
    own = math.sqrt(6.0 * 5.0) / 2 / BASE.mm_per_px
    wanted = np.array([BASE.width / 2 + 0.35 * own, BASE.height / 2 - 0.25 * own])
    assert np.hypot(*(place - wanted)) < 0.4 * own


def test_smallest_detectable_is_1_96_root_2_sem():
    """Bland and Altman: limits of agreement of two single measurements."""
    for d in compared(BASE, SAME).deltas:
        if d.delta is not None:
            assert d.smallest_detectable == pytest.approx(1.96 * d.uncertainty, rel=1e-4)
            assert d.beyond == (abs(d.delta) > d.smallest_detectable)


def test_a_known_warp_of_a_real_picture_is_found():
    """Turn 25 degrees, enlarge 8 %, shift, dim: the matrix must undo it (plane geometry)."""
    data, _ = real("ISIC_0012222")
    image = Image.open(io.BytesIO(data)).convert("RGB")
    turn, zoom, centre = math.radians(25), 1.08, np.array(image.size) / 2
    forward = zoom * np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    shift = centre - forward @ centre + np.array([12, -9])
    back = np.linalg.inv(forward)
    offset = -back @ shift
    coefficients = (*back[0], offset[0], *back[1], offset[1])
    warped = image.transform(image.size, Image.Transform.AFFINE, coefficients, Image.Resampling.BICUBIC)
    later = jpeg(warped.point(lambda v: int(v * 0.9)))
    first, second = pipeline.measure(data), pipeline.measure(later)
    result = pipeline.compare(data, later, earlier_measurement=first, later_measurement=second)
    assert result.registration.aligned
    matrix = np.array(result.registration.matrix)
    ring = np.array(first.outline.points)
    again = (ring @ forward.T + shift) @ matrix[:, :2].T + matrix[:, 2]
    assert np.sqrt(((again - ring) ** 2).sum(axis=1).mean()) < 1.5


def test_a_mirrored_picture_is_named():
    data, picture = drawn(BASE)
    flipped = jpeg(picture.image.transpose(Image.Transpose.FLIP_LEFT_RIGHT))
    later = pipeline.measure(flipped, scale=measured(BASE).scale)
    result = pipeline.compare(data, flipped, earlier_measurement=measured(BASE), later_measurement=later)
    laid = result.registration
    assert (laid.aligned, laid.mirrored, laid.matrix) == (False, True, None)
    assert [r.code for r in laid.reasons] == ["mirrored"] and result.regions == ()


def test_another_lesion_is_not_aligned():
    result = compared(BASE, small(77, axes_mm=(6.0, 5.0), irregularity=0.4))
    assert not result.registration.aligned and result.registration.reasons
    assert result.regions == () and delta(result, "area_px").delta is None


def test_scales_that_contradict_the_skin_give_no_change_of_size():
    data = drawn(SAME)[0]
    wrong = pipeline.measure(data, scale=Scale(SAME.mm_per_px * 1.2, "device", 0.005))
    result = pipeline.compare(
        drawn(BASE)[0], data, earlier_measurement=measured(BASE), later_measurement=wrong
    )
    laid = result.registration
    assert (laid.aligned, laid.rests_on, laid.matrix) == (False, None, None)
    assert [r.code for r in laid.reasons] == ["scales_disagree"]
    assert laid.reasons[0].params["off"] == pytest.approx(0.2, abs=0.01)
    assert delta(result, "area").delta is None and delta(result, "area_px").delta is None
    assert delta(result, "solidity").delta is not None


def test_pixel_deltas_are_in_earlier_pixels():
    result = compared(BASE, SAME)
    px, mm = delta(result, "feret_px"), delta(result, "feret")
    assert px.later * BASE.mm_per_px == pytest.approx(mm.later, rel=0.02)


def test_separate_scales_widen_what_unaligned_pictures_can_show():
    first, second = measured(BASE), measured(SAME)
    apart = Registration(False, None, None, None, False)
    by_hand = [
        replace(m, scale=replace(m.scale, origin="hand", rel_uncertainty=0.05)) for m in (first, second)
    ]
    device = next(d for d in change.deltas(first, second, apart) if d.name == "feret")
    hand = next(d for d in change.deltas(*by_hand, apart) if d.name == "feret")
    assert hand.smallest_detectable > 2 * device.smallest_detectable


def test_aligned_pictures_tell_one_growth_in_pixels_and_millimetres():
    """Two rulers read 2 % apart: each picture's own millimetres would say 4 % of area too much."""
    read = Scale(GREW.mm_per_px * 1.02, "ruler", 0.02)
    later = pipeline.measure(drawn(GREW)[0], scale=read)
    laid = compared(BASE, GREW).registration
    by = {d.name: d for d in change.deltas(measured(BASE), later, laid)}
    for name in ("area", "feret", "perimeter"):
        mm, px = by[name], by[f"{name}_px"]
        assert mm.delta / mm.earlier == pytest.approx(px.delta / px.earlier, rel=1e-3)
        assert mm.beyond == px.beyond


def zoom(laid):
    return math.hypot(laid.matrix[0][0], laid.matrix[1][0])


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("growth_of_area", [1.15, 1.5])
def test_growth_is_not_taken_for_the_cameras_zoom(known, growth_of_area):
    """What the camera did is known from the drawing: the ratio of both scales (plane geometry)."""
    spec = recaptured(grown(BASE, growth_of_area), 4)
    both = [measured(BASE), measured(spec)]
    if not known:
        both = [replace(m, scale=None) for m in both]
    pictures = drawn(BASE)[0], drawn(spec)[0]
    result = pipeline.compare(*pictures, earlier_measurement=both[0], later_measurement=both[1])
    assert result.registration.aligned and result.registration.rests_on == "skin"
    assert zoom(result.registration) == pytest.approx(spec.mm_per_px / BASE.mm_per_px, rel=0.01)
    assert delta(result, "area_px").beyond is True
    assert any(r.kind == "grown" for r in result.regions)


def test_without_skin_in_view_nothing_is_aligned():
    """The lesion fills the frame: a camera held closer and growth look alike."""
    filled = small(31, axes_mm=(17.5, 13.0), irregularity=0.1, hair=0.0, ruler=False)
    ring = Outline(((5, 5), (595, 5), (595, 445), (5, 445)), "person")
    both = [pipeline.measure(drawn(s)[0], outline=ring) for s in (filled, recaptured(filled, 2))]
    pictures = drawn(filled)[0], drawn(recaptured(filled, 2))[0]
    result = pipeline.compare(*pictures, earlier_measurement=both[0], later_measurement=both[1])
    assert not result.registration.aligned and result.regions == ()
    assert [r.code for r in result.registration.reasons] == ["little_skin"]


def test_measurements_of_two_versions_do_not_compare():
    old = replace(measured(BASE), version="2025.1")
    with pytest.raises(pipeline.DifferentVersions):
        pipeline.compare(
            drawn(BASE)[0], drawn(SAME)[0], earlier_measurement=old, later_measurement=measured(SAME)
        )


def test_a_comparison_survives_json():
    for later in (PATCHED, small(77, axes_mm=(6.0, 5.0), irregularity=0.4)):
        result = compared(BASE, later)
        assert Comparison.from_json(result.to_json()) == result
