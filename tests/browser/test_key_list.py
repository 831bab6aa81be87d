"""The list of keys in a real browser: “?” or the button opens it, nothing moves, Esc closes it and goes back no further."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from lesions.models import SignOff
from tests import build
from tests.browser.chromium import SCREENS
from tests.browser.test_nurse_morning import PLACES as CALL_PLACES
from tests.browser.test_nurse_morning import forty_people
from tests.browser.test_sign_off import CONFIRMED, PLACES, confirm, open_page, two_pictures
from tests.browser.test_whole_loop import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
LIST = "dialog.key-list"


def listed(page) -> dict[str, str]:
    rows = page.locator(f"{LIST} .facts > div")
    return {row.locator("dt").inner_text(): row.locator("dd").inner_text() for row in rows.all()}


def test_the_keys_of_a_decision_stand_in_a_dialog(page):
    build.flags_in_force(), build.rules_in_force()
    sign_in(page, build.dermatologist(name="D. Doctor"))
    open_page(page, two_pictures())
    before = page.evaluate(PLACES)
    confirm(page, "1")
    page.keyboard.press("?")
    expect(page.locator(LIST)).to_be_visible()
    found = listed(page)
    assert (found["S"], found["N"], found["M"], found["?"]) == (
        "side by side",
        "Note",
        "measures",
        "this list",
    )
    assert "sign it" in found["⏎"] and len(found) > 20 and all(found.values())
    page.screenshot(path=SCREENS / "keys-decision.png")
    page.keyboard.press("2")  # a key of the page behind it does nothing
    page.keyboard.press("Escape")
    expect(page.locator(LIST)).to_be_hidden()
    assert page.locator(CONFIRMED).count(), "Esc closed the list and left the confirmation"
    assert page.evaluate("document.activeElement.value") == page.evaluate(
        "document.querySelector('[name=decision]:checked').value"
    ), "the focus is where it was"
    assert page.evaluate(PLACES) == before and not SignOff.objects.exists()
    page.keyboard.press("n")
    page.keyboard.type("why?")
    expect(page.locator(LIST)).to_be_hidden()
    assert page.locator("[name=note]").input_value() == "why?"
    page.get_by_role("button", name="keys").click()
    page.locator(LIST).get_by_role("button", name="Close").click()
    expect(page.locator(LIST)).to_be_hidden()


def test_the_keys_of_a_call_stand_in_the_same_dialog(page):
    forty_people()
    sign_in(page, build.nurse(name="N. Nurse"))
    page.goto(reverse("scheduling:today"))
    page.keyboard.press("n")
    page.wait_for_selector("[data-call]")
    before = page.evaluate(CALL_PLACES)
    page.keyboard.press("?")
    found = listed(page)
    assert (found["D"], found["X"], found["J"]) == ("dial this number", "hand back", "next")
    assert found["P"] == "the first free place that is shown" and all(found.values())
    page.screenshot(path=SCREENS / "keys-call.png")
    page.keyboard.press("Escape")
    expect(page.locator(LIST)).to_be_hidden()
    assert page.evaluate(CALL_PLACES) == before
