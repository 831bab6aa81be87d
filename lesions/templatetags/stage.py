"""Draw the outline that lies over a photograph; its bar of millimetres is drawn by the script that zooms it."""

from collections.abc import Sequence

from django import template
from django.utils.safestring import SafeString, mark_safe

from clinic.charts.svg import element, number

register = template.Library()


@register.simple_tag
def outline_svg(points: Sequence[Sequence[float]], width: int, height: int) -> SafeString:
    """Draw an outline over the picture, from its points in pixels of the full picture; nothing where there is none."""
    if not points:
        return mark_safe("")
    # In pixels of the full picture: the browser scales it with the photograph, whatever copy it shows.
    box = f"0 0 {width} {height}"
    return mark_safe(element("svg", ring_path(points), viewBox=box, class_="outlines", aria_hidden="true"))


@register.simple_tag
def ring_path(points: Sequence[Sequence[float]]) -> SafeString:
    """Draw the outline inside an SVG of the page's own, where no script redraws it."""
    if not points:
        return mark_safe("")
    path = _path(points)
    return mark_safe(
        element("path", d=path, class_="outline-shade") + element("path", d=path, class_="outline")
    )


def _path(points: Sequence[Sequence[float]]) -> str:
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + "Z"
