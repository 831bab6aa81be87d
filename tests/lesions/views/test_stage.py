"""What lies over a photograph: bar and outline in pixels of the full picture."""

from xml.etree import ElementTree

import pytest

from lesions.templatetags.stage import outline_svg, scale_bar


@pytest.mark.parametrize(
    "mm_per_px, width, mm",
    [(0.02, 1000, 5), (0.1, 1000, 20), (0.02, 4000, 20), (0.006, 1000, 1), (0.2, 2000, 50)],
)
def test_the_bar_is_as_long_as_it_says(mm_per_px, width, mm):
    svg = ElementTree.fromstring(scale_bar(mm_per_px, width, 800))
    path = svg.find("path").get("d")
    length = float(path.split("h")[1].split("M")[0])
    assert svg.find("text").text == f"{mm} mm"
    assert length == pytest.approx(mm / mm_per_px, abs=0.01)
    assert length <= 0.3 * width
    assert svg.get("viewBox") == f"0 0 {width} 800"


@pytest.mark.parametrize("mm_per_px", [None, 0, 0.0005])
def test_no_scale_or_a_millimetre_wider_than_the_picture_draws_no_bar(mm_per_px):
    assert scale_bar(mm_per_px, 1000, 800) == ""


def test_an_outline_is_closed_and_keeps_its_points():
    svg = ElementTree.fromstring(outline_svg([[1, 2], [30.5, 4], [5, 60]], 100, 80))
    assert {path.get("d") for path in svg} == {"M1 2L30.5 4L5 60Z"}
    assert outline_svg([], 100, 80) == ""
