"""Booking anything: any day, time, room and clinician, with its consequence said beforehand.

How long a visit lasts: clinic setting, no source. What is before and after a window: docs/domain.md, 5.
"""

from datetime import date, time, timedelta

import pytest
from django.urls import reverse

from scheduling.models import Appointment, Recall
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
TUESDAY = date(2026, 6, 23)


@pytest.fixture
def nurse(client):
    member = build.nurse()
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return client


def shown(client, recall, **query):
    answer = client.get(reverse("scheduling:recall", args=[recall.pk]), query)
    assert answer.status_code == 200
    return read(answer)


def test_tuesday_afternoon_can_be_booked(nurse):
    """The finding: only the first eight free places of a window could be booked, all of one morning."""
    recall, room = scene.due_check(), scene.hours()
    for days in range(1, 12):
        scene.hours(day=scene.TODAY + timedelta(days))
    wanted = f"{room.pk}|2026-06-23T15:20:00+01:00"
    week = shown(nurse, recall, day="2026-06-23", part="pm")
    of_day = shown(nurse, recall, day="2026-06-23", span="day")
    assert wanted in week.offered("place") and wanted in of_day.offered("place")
    nurse.post(reverse("scheduling:book", args=[recall.pk]), {"revision": recall.revision, "place": wanted})
    assert Appointment.objects.get().starts_at == scene.at(14, 20, TUESDAY)


def test_another_room_is_offered_with_who_sits_in_it(nurse):
    recall = scene.due_check()
    scene.hours(day=TUESDAY), scene.hours(day=TUESDAY, name="Room 2", opens=time(13))
    of_day = shown(nurse, recall, day="2026-06-23", span="day")
    assert "Room 1" in of_day and "Room 2" in of_day
    rooms = {"day": "2026-06-23", "room": str(scene.hours(TUESDAY, "Room 3").pk)}
    offered = [one.name for one in shown(nurse, recall, **rooms).find_all("radio") if "Jun 2026" in one.name]
    assert offered and all("Room 3" in name for name in offered)


def test_a_day_outside_the_window_says_what_follows(nurse):
    """Window 1 to 29 June: before it would be an extra visit, after it a dermatologist confirms."""
    recall = scene.due_check()
    Recall.objects.filter(pk=recall.pk).update(earliest=date(2026, 6, 20), target=date(2026, 6, 22))
    scene.hours(), scene.hours(day=TUESDAY), scene.hours(day=date(2026, 7, 2))
    assert "would be an extra visit" in shown(nurse, recall, day="2026-06-17")
    late = shown(nurse, recall, day="2026-07-02")
    assert "3 days after the last day" in late and "until a dermatologist confirms" in late
    inside = shown(nurse, recall, day="2026-06-23")
    assert "extra visit" not in inside and "confirms" not in inside


def test_the_next_week_comes_without_the_page(nurse):
    """The fragment that the script puts in place of the week: for all that is ticked, as long as that takes."""
    recall = scene.due_check()
    scene.hours(day=TUESDAY)
    answer = nurse.get(reverse("scheduling:places", args=[recall.pk]), {"day": "2026-06-23"})
    page = read(answer)
    assert answer.status_code == 200 and not page.find_all("heading")
    assert len(page.offered("place")) > 3 and "20 min" in page
