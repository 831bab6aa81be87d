"""The patient page in a real browser: the whole record within two screens, all columns at work, nothing cut off."""

import pytest
from django.db import transaction
from django.urls import reverse
from playwright.sync_api import expect

from clinic.models import Patient
from tests import build
from tests.browser.chromium import SCREENS
from tests.browser.test_whole_loop import sign_in
from tests.full_record import full_record

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TWO_SCREENS = 1700  # px: clinic setting, no source
BOTTOMS = """[...document.querySelectorAll(".columns > *")].map((column) =>
  column.lastElementChild.getBoundingClientRect().bottom - column.getBoundingClientRect().top)"""


@pytest.fixture
def patient() -> Patient:
    with transaction.atomic():
        build.rules_in_force(), build.flags_in_force(), build.tiers_in_force()
        return full_record()


def size(page, side: str) -> int:
    return page.evaluate(f"document.documentElement.scroll{side}")


def test_nine_lesions_and_every_duty_stand_within_two_screens(page, patient, shot):
    sign_in(page, build.dermatologist(name="D. Doctor"))
    page.goto(reverse("clinic:patient", args=[patient.pk]))
    shot("patient-full")
    assert size(page, "Height") <= TWO_SCREENS
    assert page.locator(".lines .name").count() == 9
    columns = page.evaluate(BOTTOMS)
    assert min(columns) >= 0.6 * max(columns), columns
    why = page.locator("details[name=why]")
    why.nth(0).locator("summary").click()
    why.nth(3).locator("summary").click()
    # One at a time: the page grows by the reasons of one duty and no more.
    assert [each.get_attribute("open") for each in why.all()].count(None) == 8
    expect(page.get_by_text("Rule set 1, in force since")).to_have_count(1)
    shot("patient-why")
    page.emulate_media(media="print")
    expect(why.nth(5).locator("li").first).to_be_visible()
    page.pdf(path=SCREENS / "patient.pdf", prefer_css_page_size=True)
    shot("patient-print")
    page.emulate_media(media="screen", color_scheme="dark")
    shot("patient-dark")
    page.emulate_media(color_scheme="light")
    page.set_viewport_size({"width": 320, "height": 640})
    shot("patient-320")
    assert size(page, "Width") <= 320
