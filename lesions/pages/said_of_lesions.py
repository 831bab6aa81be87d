"""Lesions in words that many rows of one page share."""

from django.utils.translation import gettext as _

from clinic.pages.said import Said
from lesions.models import Lesion
from lesions.register import register


def place_words(lesion: Lesion, said: Said) -> str:
    """LEFT upper arm, front"""
    return said.once((lesion.site, lesion.side), lambda: register.place_words(lesion))


def lesion_line(lesion: Lesion, said: Said) -> str:
    """Lesion 2 — LEFT upper arm, front"""
    words = {"label": lesion.label, "place": place_words(lesion, said)}
    return said.once(("line", *words.values()), lambda: _("Lesion %(label)s — %(place)s") % words)
