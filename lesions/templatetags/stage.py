"""Draw what lies over a photograph: its outline and, where there is a scale, a bar of whole millimetres."""

from collections.abc import Sequence

from django import template
from django.utils.safestring import SafeString, mark_safe

from clinic.charts.svg import element, number, text

register = template.Library()

BAR_LENGTHS = (50, 20, 10, 5, 2, 1)  # mm
BAR_SHARE = 0.3  # of the picture's width, at most
LETTER_SHARE = 0.038


@register.simple_tag
def outline_svg(points: Sequence[Sequence[float]], width: int, height: int) -> SafeString:
    """Draw an outline over the picture, from its points in pixels of the full picture; nothing where there is none."""
    if not points:
        return mark_safe("")
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


@register.simple_tag
def scale_bar(mm_per_px: float | None, width: int, height: int) -> SafeString:
    """Draw the longest bar of whole millimetres that fits; without a scale there is none."""
    fitting = [mm for mm in BAR_LENGTHS if mm_per_px and mm / mm_per_px <= BAR_SHARE * width]
    if not mm_per_px or not fitting:
        return mark_safe("")
    return mark_safe(_bar(fitting[0], 1 / mm_per_px, width, height))


def _bar(mm: int, px_per_mm: float, width: int, height: int) -> str:
    letter = LETTER_SHARE * width
    left, base = 0.015 * width, height - 0.02 * width
    every = 1 if mm <= 10 else 10
    ticks = "".join(
        f"M{number(left + at * px_per_mm)} {number(base)}v{number(-letter * length)}"
        for at, length in ((at, 0.55 if at in (0, mm) else 0.3) for at in range(0, mm + 1, every))
    )
    path = f"M{number(left)} {number(base)}h{number(mm * px_per_mm)}{ticks}"
    label = text(f"{mm} mm", left, base - 0.8 * letter, font_size=letter)
    body = element("path", d=path, class_="shade") + element("path", d=path) + label
    return element(
        "svg", body, viewBox=f"0 0 {width} {height}", class_="scale-bar", role="img",
        aria_label=f"Scale bar: {mm} mm", preserveAspectRatio="xMinYMax meet",
    )  # fmt: skip
