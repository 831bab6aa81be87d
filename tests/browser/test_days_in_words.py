"""Beside a field for a day stands that day in words, where the browser shows and takes days as 11/12/2026.

How American English writes a day: Unicode CLDR, en-US, as the browser has it. The words beside it: our own rule, no source.
"""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from clinic import clock
from clinic.templatetags.quarterday import week_day
from tests import build
from tests.browser.chromium import SCREENS
from tests.browser.test_nurse_morning import IN_SIGHT, forty_people
from tests.browser.test_whole_loop import sign_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
# In American English the eleventh of December; typed the same way elsewhere, the twelfth of November.
TYPED, MEANT, WORDS = "12112026", "2026-12-11", "Fri 11 Dec 2026"
BOXES = """() => [...document.querySelectorAll("main :is(button, input, select, textarea, output, label, h1)")].map((one) => {
  const box = one.getBoundingClientRect();
  return [one.tagName, one.name ?? one.className, ...[box.x, box.y, box.width, box.height].map(Math.round)].join(" ");
})"""


@pytest.fixture
def american(page):
    page.goto("/login/")
    assert page.evaluate("navigator.language") == "en-US"
    return page


def words_of(page, field):
    return page.locator(f"output[for='{field.get_attribute('id')}']")


def test_the_day_that_a_form_offers_stands_in_words(american):
    page, today = american, clock.today()
    sign_in(page, build.nurse(name="N. Nurse"))
    page.goto(reverse("clinic:record_visit", args=[build.patient().pk]))
    came = page.get_by_label("Came on")
    expect(words_of(page, came)).to_have_text(week_day(today))


def test_a_typed_day_stands_in_words_and_nothing_moves(american, shot):
    page = american
    sign_in(page, build.nurse(name="N. Nurse"))
    page.goto(reverse("clinic:leaves"))
    first, last = page.get_by_label("First day away"), page.get_by_label("Last day away")
    before = page.evaluate(BOXES)
    first.focus()
    page.keyboard.type(TYPED)
    assert first.input_value() == MEANT
    expect(words_of(page, first)).to_have_text(WORDS)
    expect(words_of(page, last)).to_have_text("")
    shot("day-in-words")
    assert page.evaluate(BOXES) == before
    page.goto(reverse("clinic:patients"))
    page.go_back()
    assert first.input_value() == MEANT
    expect(words_of(page, first)).to_have_text(WORDS)
    first.fill("")
    expect(words_of(page, first)).to_have_text("")


def test_the_day_of_a_call_in_words_moves_nothing(american):
    page = american
    forty_people()
    sign_in(page, build.nurse(name="N. Nurse"))
    page.goto(reverse("scheduling:today"))
    with page.expect_navigation():
        page.keyboard.press("n")
    day = page.get_by_label("Its day")
    before = page.evaluate(BOXES)
    day.focus()
    page.keyboard.type(TYPED)
    expect(words_of(page, day)).to_have_text(WORDS)
    page.screenshot(path=SCREENS / "call-day-in-words.png")
    assert page.evaluate(BOXES) == before and page.evaluate(IN_SIGHT)
    # The next Tab goes where it went: out of the field, past its calendar, to the next field.
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.name") == "note"


def test_without_scripts_the_field_is_all(chromium, live_server):
    patient, nurse = build.patient(), build.nurse(name="N. Nurse")
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, nurse)
    page.goto(reverse("clinic:record_visit", args=[patient.pk]))
    came = page.get_by_label("Came on")
    assert came.input_value() == clock.today().isoformat() and words_of(page, came).inner_text() == ""
    context.close()
