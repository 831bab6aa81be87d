"""The decision page in a real browser: the whole act by keyboard, nothing moves, and what was seen is what is stored."""

from dataclasses import replace

import pytest
from django.urls import reverse

from clinic.pages import masthead
from lesions.analysis.drawing import phantom
from lesions.models import Draft, Flag, Look, Review, SignOff
from tests import build
from tests.browser.chromium import SCREENS
from tests.browser.test_whole_loop import jpeg, sign_in
from tests.lesions import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SPEC = phantom.Phantom(seed=11, axes_mm=(4.4, 3.6), ruler=False)
LATER = replace(phantom.recaptured(phantom.grown(SPEC, 1.2), seed=12), turn=6.0)
CONFIRMED = "[data-said] .desk-consequences:not(.empty) p"
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


def two_pictures(scales=False, seed=0):
    lesion = scene.lesion()
    for spec, days in (
        (replace(SPEC, seed=SPEC.seed + seed), 91),
        (replace(LATER, seed=LATER.seed + seed), 0),
    ):
        given = {"mm_per_px": spec.mm_per_px, "scale_origin": "hand"} if scales else {}
        review = scene.measured(lesion, jpeg(spec), days_ago=days, **given)
    return review


def says(page, word):
    """Waits until the line beside the note says so; the content policy allows no function from a string."""
    page.wait_for_selector(f".desk-draft:text-is('{word}')")


def open_page(page, review, **query):
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    page.goto(reverse("lesions:decision", args=[review.pk]) + (f"?{asked}" if asked else ""))
    page.wait_for_selector("[data-decoded]")


def reasons(review, count):
    """Exactly so many reasons, each as long as the longest of the program."""
    review.flags.all().delete()
    text = (
        "The largest diameter grew, and a colour is new that was not there before. Compared with 27 Aug 2026."
    )
    Flag.objects.bulk_create(
        Flag(
            review=review,
            code=f"r{number}",
            params={"sentence": text},
            value=12.0,
            unit="%",
            uncertainty=1.0,
            limit=5.0,
        )
        for number in range(count)
    )


def in_sight(page, selector):
    """Whether every such element lies wholly inside the window, without scrolling."""
    return page.evaluate(
        """(selector) => [...document.querySelectorAll(selector)].every((one) => {
          const box = one.getBoundingClientRect();
          return box.width > 0 && box.top >= 0 && box.left >= 0 && box.bottom <= innerHeight && box.right <= innerWidth;
        })""",
        selector,
    )


def confirm(page, key):
    page.keyboard.press(key)
    page.keyboard.press("Enter")
    page.wait_for_selector(CONFIRMED)
    page.wait_for_timeout(350)


ALL_OF_IT = ".desk-who h1, .desk-place, .frame, .desk-choice, .desk-note textarea, .desk-sign button, .desk-tools button"


@pytest.mark.parametrize("count", [1, 2, 10])
def test_the_whole_act_is_in_sight_whatever_the_reasons(page, doctor, shot, count):
    review = two_pictures()
    reasons(review, count)
    sign_in(page, doctor)
    open_page(page, review)
    assert in_sight(page, ALL_OF_IT)
    page.screenshot(path=SCREENS / f"sign-off-{count}-reasons.png")


def test_one_picture_alone_is_in_sight_too(page, doctor, shot):
    review = scene.measured(scene.lesion(), jpeg(SPEC))
    sign_in(page, doctor)
    open_page(page, review)
    assert in_sight(page, ALL_OF_IT) and page.locator(".frame").count() == 1
    page.screenshot(path=SCREENS / "sign-off-alone.png")


INSIDE = """(selector) => [...document.querySelectorAll(selector)].map((one) => {
  const box = one.getBoundingClientRect(), holder = one.closest("nav, header, .row").getBoundingClientRect();
  return box.left >= 0 && Math.round(box.right) <= Math.round(Math.min(innerWidth, holder.right)) && box.height > 0;
})"""
LONG = "Dr Maximiliana Featherstonehaugh-Voss"


def large_counts(monkeypatch):
    for name, place in masthead.PLACES.items():
        if place.count:
            monkeypatch.setitem(masthead.PLACES, name, replace(place, count=lambda request: 12_345))


def test_large_counts_and_long_names_cut_nothing_off(page, doctor, monkeypatch):
    sign_in(page, doctor)
    type(doctor).objects.update(name=LONG)
    large_counts(monkeypatch)
    same = [build.patient(given_name="Same", family_name="Name") for _ in range(2)]
    scene.measured(scene.lesion(same[0]), jpeg(SPEC))
    page.goto(reverse("lesions:decisions"))
    places = page.evaluate(INSIDE, ".places a")
    assert len(places) == 9 and all(places) and all(page.evaluate(INSIDE, ".who button"))
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate(INSIDE, ".who button, .queue .button") == [True, True]
    # "Same Name" on one line: nothing else of its row stands beside it.
    assert page.locator(".queue a.name").bounding_box()["height"] < 30


def test_over_an_overlay_both_are_named_and_a_sheet_covers_the_picture(page, doctor):
    review = two_pictures(scales=True)
    reasons(review, 10)
    sign_in(page, doctor)
    open_page(page, review)
    assert in_sight(page, ".desk-why-all") and "all 10 reasons" in page.locator(".desk-why-all").inner_text()
    page.keyboard.press("o")
    assert (
        in_sight(page, ".panes figcaption strong") and page.locator(".panes figcaption strong").count() == 2
    )
    captions = [page.locator(".panes figcaption").nth(side).bounding_box() for side in (0, 1)]
    assert (
        captions[0]["x"] + captions[0]["width"] <= captions[1]["x"] and captions[0]["y"] == captions[1]["y"]
    )
    page.keyboard.press("h")
    sheet, frame = (page.locator(one).bounding_box() for one in (".desk-sheet.open", ".frame:visible"))
    assert sheet["y"] <= frame["y"] and sheet["y"] + sheet["height"] >= frame["y"] + frame["height"]
    page.keyboard.press("m")
    assert page.locator(".desk-sheet.open .reasons > li").count() == 10


def test_nothing_moves_through_focus_blur_typing_confirmation_and_loading(page, doctor):
    review = two_pictures()
    reasons(review, 4)
    sign_in(page, doctor)
    page.goto(reverse("lesions:decision", args=[review.pk]), wait_until="commit")
    page.wait_for_selector(".desk-sign button")
    stood = [page.evaluate(PLACES)]
    page.wait_for_selector("[data-decoded]")
    stood.append(page.evaluate(PLACES))
    page.keyboard.press("n")
    stood.append(page.evaluate(PLACES))
    page.keyboard.type("a long note " * 20)
    stood.append(page.evaluate(PLACES))
    page.evaluate("document.activeElement.blur()")
    stood.append(page.evaluate(PLACES))
    confirm(page, "1")
    stood.append(page.evaluate(PLACES))
    page.keyboard.press("Escape")
    page.keyboard.press("m")
    page.wait_for_selector(".desk-sheet.open")
    stood.append(page.evaluate(PLACES))
    assert len(stood[0]) == 10 and all(places == stood[0] for places in stood)


def test_a_digit_chooses_and_focuses_and_esc_goes_back(page, doctor):
    review = two_pictures()
    sign_in(page, doctor)
    open_page(page, review)
    page.keyboard.press("2")
    assert page.evaluate("document.activeElement.value") == "biopsy"
    page.keyboard.press("Enter")
    page.wait_for_selector(CONFIRMED)
    said = page.locator(".desk-consequences").inner_text()
    assert "Biopsy, lesion 1, LEFT upper arm, front." in said and "Owed: do as decided, by" in said
    page.keyboard.press("Escape")
    assert page.locator(CONFIRMED).count() == 0 and not SignOff.objects.exists()


def test_months_are_part_of_the_choice(page, doctor):
    review = two_pictures()
    sign_in(page, doctor)
    open_page(page, review)
    page.keyboard.press("8")
    page.keyboard.type("4")
    page.keyboard.press("Enter")
    page.wait_for_selector(CONFIRMED)
    assert "Look again in 4 months" in page.locator(".desk-consequences").inner_text()


def test_a_held_or_hasty_second_enter_signs_nothing(page, doctor):
    review = two_pictures()
    sign_in(page, doctor)
    open_page(page, review)
    page.keyboard.press("1")
    page.keyboard.down("Enter")
    for _ in range(5):
        page.keyboard.down("Enter")  # a key that is held repeats
    page.keyboard.up("Enter")
    page.wait_for_selector(CONFIRMED)
    page.keyboard.press("Enter")  # at once, before anybody can have read it
    page.wait_for_timeout(300)
    assert not SignOff.objects.exists()
    page.keyboard.press("Enter")
    page.wait_for_url("**/decisions/")
    assert SignOff.objects.get().decision == "excise"


def test_what_is_stored_is_what_stood_on_the_screen(page, doctor):
    lesion = scene.lesion()
    first = scene.measured(lesion, jpeg(SPEC), days_ago=200)
    scene.measured(lesion, jpeg(replace(phantom.recaptured(SPEC, seed=5), turn=3.0)), days_ago=91)
    review = scene.measured(lesion, jpeg(LATER))
    sign_in(page, doctor)
    open_page(page, review)
    page.locator('a[data-tool="baseline"]').click()
    page.wait_for_selector(f'img[src$="/images/{first.assessment.image_id}/view/"]')
    page.wait_for_selector("[data-decoded]")
    page.keyboard.press("o")
    confirm(page, "1")
    page.keyboard.press("Enter")
    page.wait_for_url("**/decisions/")
    signed = SignOff.objects.get()
    assert signed.seen == [first.assessment.image.sha256, review.assessment.image.sha256]
    assert signed.comparison.earlier == first.assessment and "overlay" in signed.tools
    assert signed.seconds is not None and signed.version == review.assessment.version


def test_a_look_is_recorded_for_the_current_item_and_a_preload_is_none(page, doctor):
    current, following = two_pictures(), two_pictures(seed=30)
    sign_in(page, doctor)
    with page.expect_response(lambda answer: answer.url.endswith(f"/{following.assessment.image_id}/view/")):
        open_page(page, current)
    page.wait_for_timeout(300)
    assert set(Look.objects.values_list("review", flat=True)) == {current.pk}
    assert not following.assessment.image.deliveries.exists()
    confirm(page, "1")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/decisions/{following.pk}/")
    page.wait_for_selector("[data-decoded]")
    page.wait_for_timeout(200)
    assert Look.objects.filter(review=following).count() == 1
    assert following.assessment.image.deliveries.exists()
    assert "Signed: Excise" in page.locator(".desk-done").inner_text()


def test_a_draft_survives_a_reload_and_says_when_it_could_not_be_kept(page, doctor):
    review = two_pictures()
    sign_in(page, doctor)
    open_page(page, review)
    page.keyboard.press("3")
    page.keyboard.press("n")
    page.keyboard.type("ask about the scar")
    says(page, "kept")
    assert Draft.objects.get().said["note"] == "ask about the scar"
    page.reload()
    page.wait_for_selector("[data-decoded]")
    assert page.locator("[name=note]").input_value() == "ask about the scar"
    assert page.locator("[name=decision]:checked").get_attribute("value") == "refer"
    page.context.set_offline(True)
    page.locator("[name=note]").fill("and the lymph nodes")
    says(page, "not sent yet")
    page.context.set_offline(False)
    says(page, "kept")
    assert Draft.objects.get().said["note"] == "and the lymph nodes"
    page.complaints.clear()  # the browser says that it was offline


def test_look_first_hides_figures_until_an_impression_is_keyed(page, doctor):
    review = two_pictures(scales=True)
    Review.objects.filter(pk=review.pk).update(look_first=True)
    sign_in(page, doctor)
    open_page(page, review)
    shown = page.locator("#main").inner_text()
    assert "Look first" in shown and "across" not in shown and "%" not in shown and "±" not in shown
    page.keyboard.press("a")
    page.wait_for_selector(".desk-why .reasons")
    page.wait_for_selector("[data-decoded]")
    assert "Why it waits" in page.locator("#main").inner_text()
    confirm(page, "1")
    page.keyboard.press("Enter")
    page.wait_for_url("**/decisions/")
    assert SignOff.objects.get().impression == "act"


@pytest.mark.parametrize("scales", [True, False])
def test_the_lesion_fills_its_pane_and_a_bar_stands_only_with_a_scale(page, doctor, scales):
    """55 to 75 % of the pane at first (a design choice); a millimetre is as long on both sides, at most 2 % apart."""
    review = two_pictures(scales)
    sign_in(page, doctor)
    open_page(page, review)
    shares = page.evaluate(
        """() => [...document.querySelectorAll(".frame")].map((frame) => {
          const box = frame.querySelector(".outline").getBoundingClientRect();
          return Math.max(box.width / frame.clientWidth, box.height / frame.clientHeight);
        })"""
    )
    assert all(0.5 <= share <= 0.75 for share in shares) and max(shares) >= 0.6
    bars = page.locator(".bar:visible")
    assert bars.count() == (2 if scales else 0)
    if scales:
        widths = [bars.nth(side).bounding_box()["width"] for side in (0, 1)]
        assert widths[0] == pytest.approx(widths[1], rel=0.02)


def copies(review, count):
    """So many further lesions that wait, with the same pixels and figures; each picture is a row of its own."""
    made = [review]
    for number in range(1, count):
        lesion = scene.lesion(build.patient(family_name=f"Copy{number}"))
        earlier = _copied(review.comparison.earlier, lesion, 2 * number)
        later = _copied(review.assessment, lesion, 2 * number + 1)
        compared = _again(review.comparison, earlier=earlier, later=later)
        made.append(_again(review, lesion=lesion, assessment=later, comparison=compared))
        Flag.objects.create(
            review=made[-1], code="area_growth", params={"sentence": "The area grew."}, value=20.0, unit="%"
        )
    return made


def _copied(assessment, lesion, number):
    image = _again(assessment.image, lesion=lesion, sha256=f"c{number:063x}")
    return _again(assessment, image=image)


def _again(row, **fields):
    copy = type(row).objects.get(pk=row.pk)
    copy.pk = None
    copy._state.adding = True
    for name, value in fields.items():
        setattr(copy, name, value)
    copy.save(force_insert=True)
    return copy


SIXTY = 60
ROWS_IN_SIGHT = """() => [...document.querySelectorAll(".queue .row")]
  .filter((row) => row.getBoundingClientRect().bottom <= innerHeight).length"""


def test_sixty_decisions_by_keyboard_alone(page, doctor):
    """At most four keys a decision on average, nothing scrolls, and no decision is lost on the way."""
    reviews = copies(two_pictures(scales=True), SIXTY)
    sign_in(page, doctor)
    page.goto(reverse("lesions:decisions"))
    assert page.locator(".queue .row").count() == 50
    assert page.evaluate(ROWS_IN_SIGHT) >= 12
    page.screenshot(path=SCREENS / "decisions.png")
    page.get_by_role("link", name="Look at lesion").first.press("Enter")
    keys, took = 0, []
    for number in range(SIXTY):
        page.wait_for_selector("[data-decoded]")
        wanted = ["1"] if number % 3 else ["8", "6"]
        for key in wanted:
            page.keyboard.press(key)
        page.keyboard.press("Enter")
        page.wait_for_selector(CONFIRMED)
        page.wait_for_timeout(320)
        assert page.evaluate("scrollY") == 0
        before = page.url
        began = page.evaluate("performance.now()")
        page.keyboard.press("Enter")
        keys += len(wanted) + 2
        page.wait_for_url(lambda url, before=before: url != before)
        if number < SIXTY - 1:
            page.wait_for_selector("[data-decoded]")
            took.append(page.evaluate("performance.now()") - began)
    assert SignOff.objects.count() == SIXTY and not Review.objects.filter(state="waiting").exists()
    assert {row.review_id for row in SignOff.objects.all()} == {review.pk for review in reviews}
    assert keys / SIXTY <= 4
    took.sort()
    (SCREENS / "sign-to-next.txt").write_text(
        f"{SIXTY} decisions, sign to the next pair decoded: median {took[len(took) // 2]:.0f} ms, "
        f"p95 {took[int(len(took) * 0.95)]:.0f} ms\n"
    )
