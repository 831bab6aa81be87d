"""Every page in a made-up language: gettext answers ⟦message⟧, so English outside the brackets passed no catalogue.

Data stays as it is: what stands in an element with translate="no" (HTML's own attribute: names, sources, what clinicians
wrote). Attributes that are read aloud or shown count like text. The pages are those of the access table.
"""

import gettext
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils.translation import trans_real

from tests import build
from tests.not_yet_translated import LEFT
from tests.page import Element, read
from tests.test_access import OPEN, ROLES, TABLE
from tests.world import build_world

pytestmark = pytest.mark.django_db

SHOWN = (200, 409, 422)
READ_OUT = ("alt", "aria-label", "aria-description", "aria-roledescription", "placeholder", "title", "label")
# What a style sheet or a script of ours shows in their place.
READ_OUT += ("data-empty", "data-words", "data-words-booked")
PRESSED = ("submit", "button", "reset")
SILENT = {"script", "style"}
NO_PAGES = {"health", "words_of_scripts", "scheduling:missed_csv"}
# Symbols of units are international (SI brochure, 9th edition, 5.1); the program's name is a name.
UNITS = {"mm", "cm", "px", "Quarterday"}
_WORD = re.compile(r"[^\W\d_]{2,}")
_CONTENT = re.compile(r"""content:\s*("[^"]*"|'[^']*')""")


class MadeUp(gettext.NullTranslations):
    """A language in which each message is itself in brackets."""

    def gettext(self, message: str) -> str:
        return f"⟦{message}⟧"

    def ngettext(self, one: str, many: str, number: int) -> str:
        return self.gettext(one if number == 1 else many)

    def pgettext(self, context: str, message: str) -> str:
        return self.gettext(message)

    def npgettext(self, context: str, one: str, many: str, number: int) -> str:
        return self.ngettext(one, many, number)

    def language(self) -> str:
        # A tag of its own: what the program keeps ready in a language is kept for this one apart.
        return "en-gb-x-brackets"

    to_language = language


@pytest.fixture
def made_up():
    """The made-up language, for what this thread renders."""
    before = getattr(trans_real._active, "value", None)
    yield lambda: setattr(trans_real._active, "value", MadeUp())
    if before is None:
        trans_real.deactivate()
    else:
        trans_real._active.value = before


def outside(text: str) -> str:
    """What stands in no bracket."""
    kept, depth = [], 0
    for letter in text:
        depth += (letter == "⟦") - (letter == "⟧")
        if not depth and letter != "⟧":
            kept.append(letter)
    return "".join(kept)


def english(text: str) -> list[str]:
    return [word for word in _WORD.findall(outside(text)) if word not in UNITS]


def runs(element: Element) -> Iterator[str]:
    """The texts of a page, and its attributes that somebody reads, that are not marked as data."""
    for child in element.children:
        if isinstance(child, str):
            yield child
        elif child.tag not in SILENT and child.get("translate") != "no":
            yield from (child.get(name) for name in READ_OUT)
            if child.tag == "input" and child.get("type") in PRESSED:
                yield child.get("value")
            yield from runs(child)


def untranslated(page: str) -> list[str]:
    # A sentence that markup cuts keeps its bracket open from one run into the next.
    whole = "\n".join(run.replace("\n", " ") for run in runs(read(page)))
    return [line.strip() for line in outside(whole).split("\n") if english(line)]


def shown(client, name: str, method: str, args: tuple) -> list[str]:
    answer = getattr(client, method)(reverse(name, args=args))
    is_page = answer.status_code in SHOWN and answer.headers.get("Content-Type", "").startswith("text/html")
    return untranslated(answer.content.decode()) if is_page else []


def test_no_page_speaks_past_the_catalogue(client, made_up):
    world = build_world()
    found: dict[str, set[str]] = {}
    for role in ROLES:
        client.force_login(build.member(role), backend="clinic.project.backends.ClinicBackend")
        made_up()
        for name, (method, about, answers) in TABLE.items():
            if name not in NO_PAGES and answers[ROLES.index(role)] in SHOWN:
                found.setdefault(name, set()).update(shown(client, name, method, world.get(about, ())))
    spoken = {name: sorted(words) for name, words in found.items() if words}
    past = {name: words for name, words in spoken.items() if name not in LEFT}
    assert not past, "\n".join(f"{name}: {words}" for name, words in past.items())
    assert not LEFT - set(spoken), f"take out of tests/not_yet_translated.py: {sorted(LEFT - set(spoken))}"


@pytest.mark.parametrize("name", sorted(set(OPEN) - NO_PAGES))
def test_the_open_doors_speak_through_the_catalogue(client, made_up, name):
    made_up()
    assert untranslated(client.get(reverse(name)).content.decode()) == []


def test_english_is_found_where_it_passed_no_catalogue():
    page = '<p>⟦Seen ⟦by⟧ you⟧ 3 mm</p><p title="Bare">⟦x⟧</p><p>Open <b translate="no">Ann</b></p><i>⟦a <b>b</b> c⟧ d</i>'
    assert untranslated(page) == ["Bare", "Open"]


def test_no_style_sheet_speaks():
    """Words in `content` pass no catalogue: they come from an attribute of the page, with attr(), or are a sign."""
    sheets = [*Path(settings.BASE_DIR).glob("*/static/**/*.css")]
    assert len(sheets) >= 3
    said = {sheet.name: _CONTENT.findall(sheet.read_text()) for sheet in sheets}
    assert {name: words for name, words in said.items() if english(" ".join(words))} == {}
    assert english(" ".join(_CONTENT.findall('li::before { content: "Please look: "; }'))) == [
        "Please",
        "look",
    ]
