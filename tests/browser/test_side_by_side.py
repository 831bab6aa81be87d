"""Two photographs on one page in a real browser: a millimetre is as long in one as in the other.

The truth is the drawing's own: millimetres per pixel, and where the lesion's middle lies.
"""

import math
from dataclasses import replace

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from lesions.analysis.drawing import phantom
from tests import build
from tests.browser.test_whole_loop import jpeg, sign_in
from tests.lesions import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SPEC = phantom.Phantom(seed=11, axes_mm=(4.4, 3.6), ruler=False)
CLOSER = replace(
    phantom.recaptured(phantom.grown(SPEC, 1.2), seed=12), mm_per_px=SPEC.mm_per_px / 1.12, turn=6.0
)
# Where a full pixel (x, y) of a picture lies on the screen, by what the browser holds: the laid one is turned by a matrix.
PLACE = """([frame, which, x, y]) => {
  const boxes = document.querySelectorAll(".frame"), box = boxes[frame], image = box.querySelectorAll("img")[which];
  const edge = box.getBoundingClientRect();
  if (which) {
    const at = new DOMPoint(x, y).matrixTransform(new DOMMatrix(getComputedStyle(image).transform));
    return [edge.x + at.x, edge.y + at.y];
  }
  const shown = image.getBoundingClientRect();
  return [shown.x + (x / Number(box.dataset.width)) * shown.width, shown.y + (y / Number(box.dataset.height)) * shown.height];
}"""


def place(page, x, y, frame=0, which=0):
    return page.evaluate(PLACE, [frame, which, x, y])


def px_per_mm(page, frame, spec):
    """Screen pixels of one true millimetre in a frame."""
    a, b = (place(page, x, spec.height / 2, frame) for x in (0, spec.width))
    return math.dist(a, b) / (spec.width * spec.mm_per_px)


def middle(spec):
    """The pixel in which the drawing has put the middle of its lesion."""
    x, y = (
        side / 2 + at / spec.mm_per_px
        for side, at in zip((spec.width, spec.height), spec.position, strict=True)
    )
    return x, y


@pytest.fixture
def opened(page):
    def open_page(errors=None):
        """`errors`: what each scale set by hand is of the true one, earlier and later; None: no scales."""
        lesion = scene.lesion()
        for spec, days, error in zip((SPEC, CLOSER), (91, 0), errors or (None, None), strict=True):
            given = {"mm_per_px": spec.mm_per_px * error, "scale_origin": "hand"} if error else {}
            review = scene.measured(lesion, jpeg(spec), days_ago=days, **given)
        sign_in(page, build.dermatologist(name="D. Doctor"))
        page.goto(reverse("lesions:decision", args=[review.pk]))
        page.wait_for_load_state("networkidle")
        return page

    return open_page


@pytest.mark.parametrize("width", [1366, 700, 390])
def test_a_millimetre_is_as_long_in_both_panes(opened, width, shot):
    page = opened()
    page.set_viewport_size({"width": width, "height": 768})
    page.wait_for_timeout(100)
    shot(f"side-by-side-{width}")
    for _ in range(2):
        earlier, later = px_per_mm(page, 0, SPEC), px_per_mm(page, 1, CLOSER)
        assert later / earlier == pytest.approx(1, abs=0.02)
        page.get_by_role("button", name="Closer").click()


@pytest.mark.parametrize("errors", [(1.0, 1.0), (1.01, 0.995)], ids=["true", "read a little wrong"])
def test_pictures_of_two_scales_stand_at_one(opened, errors, shot):
    """The later was taken 12 % closer and says so by a scale of its own; reading errors are common practice, no source."""
    page = opened(errors)
    page.set_viewport_size({"width": 1366, "height": 768})
    page.wait_for_timeout(100)
    shot(f"side-by-side-two-scales-{errors[0]:g}")
    for _ in range(2):
        earlier, later = px_per_mm(page, 0, SPEC), px_per_mm(page, 1, CLOSER)
        assert later / earlier == pytest.approx(1, abs=0.02)
        page.get_by_role("button", name="Closer").click()


def test_the_overlay_lays_the_lesion_on_the_lesion(opened, shot):
    page = opened()
    expect(page.get_by_role("button", name="O overlay")).to_be_enabled()
    page.get_by_role("button", name="O overlay").click()
    for _ in range(2):
        earlier, later = place(page, *middle(SPEC)), place(page, *middle(CLOSER), which=1)
        assert math.dist(earlier, later) < 3
        page.get_by_role("button", name="Closer").click()
    shot("overlay-of-two-scales")
