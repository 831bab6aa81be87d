"""Correcting an outline in a real browser: mouse, touch and keyboard, undone and done again, then measured."""

import math

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from lesions.analysis.drawing import phantom
from lesions.measuring import measure
from lesions.models import Assessment
from tests import build
from tests.browser.test_whole_loop import jpeg, sign_in
from tests.lesions import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SPEC = phantom.Phantom(seed=11, axes_mm=(4.4, 3.6))


@pytest.fixture
def image():
    scale = {"mm_per_px": SPEC.mm_per_px, "scale_origin": "device"}
    return scene.measured(scene.lesion(), jpeg(SPEC), **scale).assessment.image


@pytest.fixture
def drawing(page, image):
    sign_in(page, build.nurse(name="N. Hand"))
    page.goto(reverse("lesions:outline", args=[image.pk]))
    expect(page.locator(".handle").first).to_be_visible()
    page.wait_for_load_state("networkidle")
    return page


def points(page) -> list[list[float]]:
    text = page.locator("#id_points").input_value()
    return [[float(part) for part in line.split()] for line in text.splitlines()]


def middle(locator) -> tuple[float, float]:
    box = locator.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_mouse_moves_adds_and_takes_away_points(drawing, shot):
    shot("outline-start")
    start = points(drawing)
    x, y = middle(drawing.locator(".handle").nth(3))
    drawing.mouse.move(x, y)
    drawing.mouse.down()
    drawing.mouse.move(x + 40, y + 25, steps=4)
    drawing.mouse.up()
    moved = points(drawing)
    assert len(moved) == len(start) and moved[3] != start[3] and moved[:3] == start[:3]
    shot("outline-moved")

    longest = max(range(8, len(moved) - 1), key=lambda index: math.dist(moved[index], moved[index + 1]))
    a, b = (middle(drawing.locator(".handle").nth(index)) for index in (longest, longest + 1))
    drawing.mouse.click((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    assert len(points(drawing)) == len(start) + 1
    drawing.get_by_role("button", name="Take the point away").click()
    assert points(drawing) == moved
    for _ in range(3):
        drawing.get_by_role("button", name="Undo").click()
    assert points(drawing) == start
    expect(drawing.get_by_role("button", name="Undo")).to_be_disabled()
    for _ in range(3):
        drawing.get_by_role("button", name="Redo").click()
    assert points(drawing) == moved


def test_the_keyboard_alone_draws_from_nothing_and_measures(drawing, image, shot):
    drawing.get_by_role("button", name="From nothing").press("Enter")
    assert points(drawing) == []
    drawing.locator(".plane").focus()
    drawing.keyboard.press("Insert")
    corners = [("ArrowRight", 12), ("ArrowDown", 12), ("ArrowLeft", 14)]
    for key, count in corners:
        drawing.keyboard.press("Insert")
        for _ in range(count):
            drawing.keyboard.press(f"Shift+{key}")
    drawing.keyboard.press("Enter")
    assert len(points(drawing)) == 4
    drawing.keyboard.press("Escape")
    drawing.keyboard.press("Tab")
    assert drawing.evaluate("document.activeElement.closest('.plane') === null")
    shot("outline-keyboard")
    ring = points(drawing)
    drawing.get_by_role("button", name="Measure by this outline").click()
    expect(drawing.locator("body")).to_contain_text("is being measured by it")
    row = Assessment.objects.get(drawn_by__isnull=False)
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert sorted(row.outline["points"]) == sorted(ring)
    area = next(each["value"] for each in row.result["measures"] if each["name"] == "area_px")
    pairs = zip(ring, [*ring[1:], ring[0]], strict=True)
    assert area == pytest.approx(abs(sum(x * v - u * y for (x, y), (u, v) in pairs)) / 2, rel=0.02)


def test_tab_goes_through_the_points_and_arrows_move_the_chosen_one(drawing):
    start = points(drawing)
    drawing.locator(".plane").focus()
    for _ in range(2):
        drawing.keyboard.press("Tab")
    expect(drawing.locator("[data-words]")).to_contain_text(f"Point 2 of {len(start)}")
    drawing.keyboard.press("ArrowDown")
    moved = points(drawing)
    assert moved[1][1] > start[1][1] and moved[1][0] == start[1][0] and moved[2:] == start[2:]
    drawing.keyboard.press("Control+z")
    assert points(drawing) == start


def test_a_finger_draws_and_the_picture_comes_closer(chromium, live_server, image, page, shot):
    context = chromium.new_context(
        viewport={"width": 390, "height": 844},
        base_url=live_server.url,
        has_touch=True,
        device_scale_factor=2,
    )
    phone = context.new_page()
    sign_in(phone, build.nurse(name="T. Touch"))
    phone.goto(reverse("lesions:outline", args=[image.pk]))
    phone.get_by_role("button", name="From nothing").tap()
    phone.get_by_role("button", name="Whole picture").tap()
    phone.locator(".plane").scroll_into_view_if_needed()
    box = phone.locator(".plane").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for turn in range(6):
        angle = turn * math.pi / 3
        phone.touchscreen.tap(x + 90 * math.cos(angle), y + 70 * math.sin(angle))
    phone.touchscreen.tap(x + 90, y)
    assert len(points(phone)) == 6
    assert phone.locator(".plane .outline").get_attribute("d").endswith("Z")
    before = points(phone)
    phone.get_by_role("button", name="Closer").tap()
    box = [float(part) for part in phone.locator(".plane").get_attribute("viewBox").split()]
    assert points(phone) == before and box[2] < image.width / 1.3
    assert phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
    phone.screenshot(path=".screens/outline-phone.png", full_page=True)
    context.close()


def test_a_scale_is_set_on_two_marks(page, image, shot):
    sign_in(page, build.nurse(name="N. Ruler"))
    page.goto(reverse("lesions:scale", args=[image.pk]))
    box = page.locator(".plane").bounding_box()
    for share in (0.2, 0.8):
        page.mouse.click(box["x"] + share * box["width"], box["y"] + 40)
    page.get_by_label("Distance between them").fill("9")
    shot("scale")
    page.get_by_role("button", name="Measure by this scale").click()
    expect(page.locator("body")).to_contain_text("The scale is set")
    image.refresh_from_db()
    assert image.scale_origin == "hand" and 0 < image.mm_per_px < 1


def test_the_change_map_stands_beside_the_decision(page, shot):
    lesion, scale = scene.lesion(), {"mm_per_px": SPEC.mm_per_px, "scale_origin": "device"}
    scene.measured(lesion, jpeg(SPEC), days_ago=91, **scale)
    later = phantom.recaptured(phantom.grown(SPEC, 1.25, one_sided=True), seed=12)
    review = scene.measured(lesion, jpeg(later), mm_per_px=later.mm_per_px, scale_origin="device")
    sign_in(page, build.dermatologist(name="D. Doctor"))
    page.goto(reverse("lesions:decision", args=[review.pk]))
    page.get_by_role("button", name="C what changed").click()
    drawn = page.locator("img.change-map")
    expect(drawn).to_be_visible()
    page.wait_for_load_state("networkidle")
    assert drawn.evaluate("image => image.naturalWidth") > 300
    shot("change-map")
