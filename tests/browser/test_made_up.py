"""Pages in a made-up language, in a real browser: nothing breaks when every text is another, and longer.

Here the scripts speak too, as `tests/test_language.py` never hears them: their catalogue is answered in the same language.
"""

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils.translation import trans_real

from tests import build
from tests.browser.chromium import SCREENS
from tests.browser.test_whole_loop import sign_in
from tests.test_language import MadeUp, untranslated
from tests.world import build_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PAGES = {
    "clinic:patient": "patient",
    "lesions:decision": "review",
    "lesions:outline": "image",
    "lesions:new_lesion": "patient",
    "scheduling:today": "",
    "scheduling:call": "patient",
    "scheduling:rules": "",
    "scheduling:missed": "",
}
# What Django's own catalogue of scripts offers, with each message in brackets.
WORDS_OF_SCRIPTS = """
    globalThis.gettext = (message) => `⟦${message}⟧`;
    globalThis.ngettext = (one, many, count) => gettext(count === 1 ? one : many);
    globalThis.interpolate = (words, values, named) => named
        ? words.replace(/%\\((\\w+)\\)s/g, (_, name) => values[name])
        : words.replace(/%s/g, () => values.shift());
"""


def test_pages_in_a_made_up_language(page, monkeypatch, settings):
    with transaction.atomic():
        world = build_world()
    sign_in(page, build.dermatologist(name="D. Doctor"))
    made_up = MadeUp()
    settings.LANGUAGE_CODE = made_up.language()  # what a thread says it speaks that has chosen no language
    monkeypatch.setattr(trans_real, "_default", made_up)  # and what it speaks
    page.route(
        "**/words.js", lambda asked: asked.fulfill(body=WORDS_OF_SCRIPTS, content_type="text/javascript")
    )
    past = {}
    for name, about in PAGES.items():
        page.goto(reverse(name, args=world.get(about, ())))
        assert "⟦" in page.locator("#main").inner_text()
        page.screenshot(path=SCREENS / f"made-up-{name.partition(':')[2]}.png", full_page=True)
        past[name] = untranslated(page.content())
    assert {name: words for name, words in past.items() if words} == {}
