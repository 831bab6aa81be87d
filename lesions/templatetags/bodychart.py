"""Give the body chart's template what it draws from."""

from dataclasses import dataclass

from django import template

from lesions.register import bodymap

register = template.Library()


@dataclass(frozen=True)
class ChartView:
    name: bodymap.View
    viewers_left: bodymap.Side
    viewers_right: bodymap.Side
    pieces: tuple[bodymap.Piece, ...]


@register.simple_tag
def chart_views() -> list[ChartView]:
    """Give front and back, each with the patient's side that lies on the viewer's left and right."""
    return [
        ChartView(view, bodymap.side_of(view, 0), bodymap.side_of(view, 1000), pieces)
        for view, pieces in bodymap.CHART.items()
    ]


@register.simple_tag
def chart_sites() -> tuple[tuple[str, str], ...]:
    return bodymap.SITES


@register.filter
def site_words(code: str, side: bodymap.Side) -> str:
    """`{{ lesion.site|site_words:lesion.side }}` → LEFT upper arm, front"""
    return bodymap.site_words(code, side)
