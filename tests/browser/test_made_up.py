"""Five pages in a made-up language, in a real browser: nothing breaks when every text is another, and longer."""

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils.translation import trans_real

from tests import build
from tests.browser.chromium import SCREENS
from tests.browser.test_whole_loop import sign_in
from tests.test_language import MadeUp
from tests.world import build_world

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PAGES = ("clinic:patient", "lesions:decision", "scheduling:today", "scheduling:rules", "scheduling:missed")
ABOUT = {"clinic:patient": "patient", "lesions:decision": "review"}


def test_five_pages_in_a_made_up_language(page, monkeypatch):
    with transaction.atomic():
        world = build_world()
    sign_in(page, build.dermatologist(name="D. Doctor"))
    monkeypatch.setattr(trans_real, "_default", MadeUp())  # of every thread that has chosen no language
    for name in PAGES:
        page.goto(reverse(name, args=world.get(ABOUT.get(name, ""), ())))
        assert "⟦" in page.locator("#main").inner_text()
        page.screenshot(path=SCREENS / f"made-up-{name.partition(':')[2]}.png")
