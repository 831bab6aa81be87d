"""The decision page in a real browser: the whole act by keyboard, nothing moves, and what was seen is what is stored."""

from dataclasses import replace

import pytest
from django.urls import reverse

from lesions.analysis.drawing import phantom
from lesions.models import Draft, Flag, Look, Review, SignOff
from tests import build
from tests.browser.test_whole_loop import jpeg, sign_in
from tests.lesions import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SPEC = phantom.Phantom(seed=11, axes_mm=(4.4, 3.6), ruler=False)
LATER = replace(phantom.recaptured(phantom.grown(SPEC, 1.2), seed=12), turn=6.0)
CONFIRMED = ".desk-consequences:not(.empty) p"
# Where the button and each choice stand, to the pixel.
PLACES = """() => [...document.querySelectorAll(".desk-sign button, .desk-choice")].map((one) => {
  const box = one.getBoundingClientRect();
  return [box.x, box.y, box.width, box.height].map(Math.round).join(" ");
})"""


@pytest.fixture
def doctor():
    build.flags_in_force()
    build.rules_in_force()
    return build.dermatologist(name="D. Doctor")


def two_pictures(**scales):
    lesion = scene.lesion()
    for spec, days in ((SPEC, 91), (LATER, 0)):
        given = {"mm_per_px": spec.mm_per_px, "scale_origin": "hand"} if scales else {}
        review = scene.measured(lesion, jpeg(spec), days_ago=days, **given)
    return review


def open_page(page, review, **query):
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    page.goto(reverse("lesions:decision", args=[review.pk]) + (f"?{asked}" if asked else ""))
    page.wait_for_selector("[data-decoded]")


def test_smoke(page, doctor, shot):
    review = two_pictures(scales=True)
    sign_in(page, doctor)
    open_page(page, review)
    page.screenshot(path=".screens/desk.png")
    page.keyboard.press("2")
    page.keyboard.press("Enter")
    page.wait_for_selector(CONFIRMED)
    page.screenshot(path=".screens/desk-confirm.png")
    for key in "zowmbhr":
        page.keyboard.press("Tab") if False else None
        page.evaluate("document.activeElement.blur()")
        page.keyboard.press(key)
        page.wait_for_timeout(300)
        page.screenshot(path=f".screens/desk-{key}.png")
        page.keyboard.press("Escape")
