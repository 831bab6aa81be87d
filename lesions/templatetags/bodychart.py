"""Give the body chart's template what it draws from."""

from dataclasses import dataclass

from django import template

from clinic.wording import SPOKEN
from lesions.models import Side, View
from lesions.register import bodymap, wording

register = template.Library()


@dataclass(frozen=True)
class ChartView:
    """Front or back, with the patient's side that lies on the viewer's left and right."""

    name: bodymap.View
    words: str
    viewers_left: str
    viewers_right: str
    pieces: tuple[bodymap.Piece, ...]


@register.simple_tag
def chart_views() -> list[ChartView]:
    """Give front and back, each with the patient's side that lies on the viewer's left and right."""
    return [_view(view, pieces) for view, pieces in bodymap.CHART.items()]


def _view(view: bodymap.View, pieces: tuple[bodymap.Piece, ...]) -> ChartView:
    # Asked of the map and not written here: on the back the patient's left is the viewer's left.
    left, right = (bodymap.side_word(bodymap.side_of(view, x), SPOKEN) for x in (0, 1000))
    return ChartView(view, str(View(view).label), left, right, pieces)


@register.simple_tag
def chart_sites() -> tuple[tuple[str, str], ...]:
    """Give code and words of every site."""
    return wording.SITES


@register.filter
def piece_words(piece: bodymap.Piece) -> str:
    """`{{ piece|piece_words }}` → LEFT upper arm, front"""
    return bodymap.site_words(piece.code, piece.side, SPOKEN)


@register.filter
def site_words(code: str, side: bodymap.Side) -> str:
    """`{{ lesion.site|site_words:lesion.side }}` → LEFT upper arm, front"""
    return bodymap.site_words(code, side, SPOKEN)


@register.simple_tag
def chart_sides() -> list[tuple[str, str]]:
    """Give the patient's own sides; what must not be swapped stands in capitals."""
    sides: list[tuple[str, str]] = [(side, bodymap.side_word(side, SPOKEN)) for side in ("left", "right")]
    return [*sides, (Side.MIDLINE.value, str(Side.MIDLINE.label))]
