"""A nurse's morning in a real browser: forty calls by keyboard, nothing moves, the button is always in sight."""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic import clock
from clinic.duties.limits import working_days_after
from scheduling.models import Appointment, Call, ContactAttempt, DeskLine, Recall, Section
from scheduling.today import worklists
from tests import build
from tests.browser.test_whole_loop import sign_in
from tests.scheduling import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_ANSWER, BOOKED, LATER, DEAD = 20, 12, 5, 3
# Where the button and each choice stand, to the pixel.
PLACES = """() => [...document.querySelectorAll(".call-log, .desk-choice")].map((one) => {
  const box = one.getBoundingClientRect();
  return [box.x, box.y, box.width, box.height].map(Math.round).join(" ");
}).join(" | ")"""
IN_SIGHT = """() => scrollY === 0 && document.querySelector(".call-log").getBoundingClientRect().bottom <= innerHeight"""


def forty_people():
    """Each with a check whose window is open, the nearest end first; invented, and not planned by rules."""
    policy, today = build.rules_in_force(), clock.today()
    people = [build.patient(given_name="Invented", family_name=f"Person {turn:02}") for turn in range(40)]
    Recall.objects.bulk_create(
        Recall(
            patient=one, purpose="full_skin_check", subject="patient", number=2, anchor=today - timedelta(92),
            earliest=today - timedelta(14), target=today, latest=today + timedelta(30 + turn), urgency="B",
            rule="melanoma", policy=policy, state="due", opened_on=today - timedelta(20),
        )
        for turn, one in enumerate(people)
    )  # fmt: skip
    for ahead in (3, 4, 5):
        scene.hours(day=working_days_after(today, ahead))
    worklists.build(today)


class Desk:
    """Presses keys and counts them; after each call it looks whether anything moved or went out of sight."""

    def __init__(self, page):
        self.page, self.stood = page, set()

    def press(self, *keys):
        for key in keys:
            self.page.keyboard.press(key)

    def look(self):
        self.stood.add(self.page.evaluate(PLACES))
        assert self.page.evaluate(IN_SIGHT)

    def call(self, *keys, write=()):
        """Presses the keys, types what is written between them, and logs the call by Enter."""
        self.look()
        for key in keys:
            self.page.keyboard.type(write[int(key[1:])]) if key.startswith("#") else self.press(key)
        self.look()
        with self.page.expect_navigation():
            self.press("Enter")
        return len(keys) + 1


def test_forty_calls_by_keyboard(page):
    forty_people()
    sign_in(page, build.nurse(name="R. Adeyemi"))
    page.goto(reverse("scheduling:today"))
    first = page.locator(".today-rows .row").nth(11).bounding_box()
    assert first["y"] + first["height"] <= 768, "twelve people on the screen"
    with page.expect_navigation():
        page.keyboard.press("n")
    desk = Desk(page)
    for _ in range(NO_ANSWER):
        assert desk.call("1") <= 3
    for _ in range(BOOKED):
        desk.call("2", "p", "i", "ArrowDown", "Tab", "#0", write=["the check is due"])
    again = working_days_after(clock.today(), 2)
    day = f"{again:%m%d%Y}"
    for _ in range(LATER):
        desk.call("6", "i", "ArrowDown", "Tab", "Tab", "Tab", "#0", write=[day])
    for _ in range(DEAD):
        desk.call("5")
    assert len(desk.stood) == 1, "nothing moved in forty calls"
    assert page.url.endswith(reverse("scheduling:today")), "nobody else is left to phone"
    assert ContactAttempt.objects.count() == Call.objects.count() == 40
    outcomes = list(Call.objects.values_list("outcome", flat=True))
    counted = [outcomes.count(one) for one in ("no_answer", "booked", "asks_later", "dead")]
    assert counted == [NO_ANSWER, BOOKED, LATER, DEAD] and Appointment.objects.count() == BOOKED
    assert set(ContactAttempt.objects.filter(outcome="asks_later").values_list("next_on", flat=True)) == {
        again
    }
    worklists.bring_up_to_date()
    assert not DeskLine.objects.filter(section=Section.PHONE).exists()
    assert DeskLine.objects.filter(section=Section.PUT_RIGHT).count() == DEAD
