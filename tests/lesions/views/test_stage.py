"""What lies over a photograph: the outline in pixels of the full picture."""

from xml.etree import ElementTree

from lesions.templatetags.stage import outline_svg


def test_an_outline_is_closed_and_keeps_its_points():
    svg = ElementTree.fromstring(outline_svg([[1, 2], [30.5, 4], [5, 60]], 100, 80))
    assert {path.get("d") for path in svg} == {"M1 2L30.5 4L5 60Z"}
    assert outline_svg([], 100, 80) == ""
