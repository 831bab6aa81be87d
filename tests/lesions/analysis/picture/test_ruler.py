"""Millimetres from the ruler in the picture, or none."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageFilter

from lesions.analysis import pipeline
from lesions.analysis.picture import prepare, ruler
from lesions.analysis.types import Scale
from tests.lesions.analysis.pictures import drawn, jpeg, real, small

SPEC = small(41, axes_mm=(5.0, 4.0), hair=0.2, width=600, height=450, mm_per_px=0.03)


def seen(image, scale=None):
    return pipeline.measure(jpeg(image), scale=scale)


def ruler_in(data):
    """The search for a ruler as `measure` makes it, without the rest of the measuring."""
    ready = prepare.picture(data)
    return ruler.scale(ready.levels, ready.zoom)


@pytest.mark.parametrize("seed", range(41, 49))
def test_a_drawn_ruler_gives_the_scale_within_3_percent(seed):
    """Truth is the drawing's own scale; 3 %: common practice, no source."""
    found = ruler_in(drawn(replace(SPEC, seed=seed))[0])
    assert found.origin == "ruler" and 0.005 <= found.rel_uncertainty < 0.02
    assert found.mm_per_px == pytest.approx(SPEC.mm_per_px, rel=0.03)


def test_a_turned_ruler_is_read_alike():
    image = drawn(SPEC)[1].image
    assert seen(image).scale.mm_per_px == pytest.approx(SPEC.mm_per_px, rel=0.03)
    turned = image.rotate(-90, expand=True)
    assert ruler_in(jpeg(turned)).mm_per_px == pytest.approx(SPEC.mm_per_px, rel=0.03)


@pytest.mark.parametrize("hair", [0.0, 1.0, 3.0, 6.0])
@pytest.mark.parametrize("seed", [51, 52, 53])
def test_without_a_ruler_there_is_no_scale(seed, hair):
    assert ruler_in(drawn(replace(SPEC, seed=seed, ruler=False, hair=hair))[0]) is None


def test_without_a_ruler_no_length_is_measured():
    result = pipeline.measure(drawn(replace(SPEC, seed=51, ruler=False))[0])
    assert result.scale is None and result.value("feret") is None


def test_a_blurred_ruler_gives_no_scale_or_the_right_one():
    for blur in (2, 4, 8, 16):
        found = ruler_in(jpeg(drawn(SPEC)[1].image.filter(ImageFilter.GaussianBlur(blur))))
        assert found is None or found.mm_per_px == pytest.approx(SPEC.mm_per_px, rel=0.03)


def test_stripes_without_a_line_are_no_ruler():
    """Ridges of skin and folds of cloth repeat too."""
    pixels = np.full((450, 600, 3), (225, 180, 158), dtype=np.uint8)
    pixels[100:350, 20:580:20] = pixels[100:350, 21:580:20] = (60, 50, 50)
    assert ruler_in(jpeg(Image.fromarray(pixels))) is None


def test_the_scale_given_is_kept_and_held_against_the_ruler():
    right, wrong = Scale(SPEC.mm_per_px, "device", 0.01), Scale(SPEC.mm_per_px * 1.2, "device", 0.01)
    image = drawn(SPEC)[1].image
    for given, ok in ((right, True), (wrong, False)):
        result = seen(image, given)
        assert result.scale == given
        assert [q.ok for q in result.quality if q.name == "scale"] == [ok]


def test_where_no_contact_plate_is_the_ruler_is_left_alone():
    """A close-up shows more than a plate's field: neither a scale nor a doubt about the one given comes from it."""
    wrong = Scale(SPEC.mm_per_px * 1.2, "given", 0.01)
    for given in (None, wrong):
        result = pipeline.measure(drawn(SPEC)[0], scale=given, look_for_ruler=False)
        assert result.scale == given
        assert all(q.ok for q in result.quality if q.name == "scale")


@pytest.mark.parametrize(
    ("name", "ends"),
    [("ISIC_0012222", ((282, 559), (724, 580))), ("ISIC_0014178", ((835, 548), (808, 110)))],
)
def test_a_real_ruler_of_ten_millimetres_is_read(name, ends):
    """ISIC 2017 challenge: the engraved line bears ten long ticks and "mm"; its ends were read by eye from the picture."""
    data, _ = real(name)
    length = float(np.hypot(*(np.array(ends[1]) - ends[0])))
    assert ruler_in(data).mm_per_px == pytest.approx(10 / length, rel=0.03)


@pytest.mark.parametrize("name", ["ISIC_0001769", "ISIC_0010459", "ISIC_0014601"])
def test_real_pictures_without_a_ruler_have_no_scale(name):
    data, _ = real(name)
    assert ruler_in(data) is None
