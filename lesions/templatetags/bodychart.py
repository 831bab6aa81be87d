"""Give the body chart's template what it draws from."""

from dataclasses import dataclass
from functools import lru_cache

from django import template
from django.template.loader import render_to_string
from django.utils.translation import get_language

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
def chart_pieces(view: ChartView, readonly: bool) -> str:
    """The regions of one side: ninety paths, which change with the language alone."""
    return _drawn(view.name, readonly, get_language() or "")


# By the language and not by the words: to put ninety regions into words costs more than all else on a page.
@lru_cache(maxsize=16)
def _drawn(view: bodymap.View, readonly: bool, language: str) -> str:
    pieces = [(piece, _piece_words(piece)) for piece in bodymap.CHART[view]]
    return render_to_string("lesions/_bodypieces.html", {"pieces": pieces, "readonly": readonly})


@register.simple_tag
def chart_sites() -> tuple[tuple[str, str], ...]:
    """Give code and words of every site."""
    return wording.SITES


def _piece_words(piece: bodymap.Piece) -> str:
    """LEFT upper arm, front"""
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
