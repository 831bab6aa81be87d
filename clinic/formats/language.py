"""The language in which a sentence is made: the source's English, or the one that the program hands in.

The pure cores keep their sentences as English templates and compose them by these two functions. A command line leaves
them as they are; the site hands in gettext's (`clinic.wording.SPOKEN`), so that both come from one place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Language:
    """How a template is put into a language, and which of two templates fits a count."""

    translate: Callable[[str], str]
    count: Callable[[str, str, int], str]


def _unchanged(text: str) -> str:
    return text


def _english_count(one: str, many: str, number: int) -> str:
    return one if number == 1 else many


ENGLISH: Final = Language(_unchanged, _english_count)


def gettext_noop(text: str) -> str:
    """Mark a template for the translators' catalogue where it stands in a table; it is translated where it is used."""
    return text


def alternatives(names: Sequence[str], language: Language = ENGLISH) -> str:
    """Join names as a choice: “white, grey or black”."""
    *first, last = names
    if not first:
        return last
    return language.translate("{first} or {last}").format(first=", ".join(first), last=last)
