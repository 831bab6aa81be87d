"""Words in a sentence, in the language of the reader: how a day is written and a list of names is joined."""

from collections.abc import Sequence
from datetime import date
from typing import Final

from django.utils.translation import gettext, ngettext

from clinic import days
from clinic.formats import language
from clinic.formats.language import Language

SPOKEN: Final = Language(gettext, ngettext)


def write_day(day: date) -> str:
    """Write a day as 3 Mar 2026, with the months of the reader's language."""
    return days.write_day(day, SPOKEN)


def alternatives(names: Sequence[str]) -> str:
    """Join names as a choice, in the reader's language: “white, grey or black”."""
    return language.alternatives(names, SPOKEN)
