"""Who was rung in the morning is rung in the afternoon next, where the ladder asks for two times of day.

"At least two times of day" before a dermatologist decides is our own proposal, no source (docs/sources.md).
"""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic import clock
from scheduling.desk import claims, contacts
from scheduling.models import DeskLine, PartOfDay, Section
from scheduling.planning import ladder
from scheduling.today import shown_lines, worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
MORNING, AFTERNOON = timedelta(hours=-3), timedelta(hours=3)  # of scene.NOON, which is noon in Dublin


def rung(recall, day, part):
    with clock.at(scene.NOON - timedelta(days=day) + part):
        said = {"route": "phone", "address": "000", "outcome": "no_answer"}
        contacts.log_attempt(recall=recall, by=build.nurse(), **said)


def line_of(recall):
    worklists.build(scene.TODAY)
    return DeskLine.objects.get(patient=recall.patient)


@pytest.mark.parametrize(
    ("calls", "next_part"),
    [
        ((), PartOfDay.ANY),
        (((8, MORNING),), PartOfDay.AFTERNOON),
        (((8, AFTERNOON),), PartOfDay.MORNING),
        (((16, MORNING), (8, AFTERNOON)), PartOfDay.ANY),
    ],
)
def test_the_next_call_is_in_the_part_of_the_day_not_tried_yet(calls, next_part):
    recall = scene.due_check()
    for day, part in calls:
        rung(recall, day, part)
    line = line_of(recall)
    assert (line.section, line.part) == (Section.PHONE, next_part)


def test_a_ladder_of_one_time_of_day_asks_for_none():
    build.policy_in_force("ladder", ladder.shipped().replace("times_of_day = 2", "times_of_day = 1"))
    recall = scene.due_check()
    rung(recall, 8, MORNING)
    assert line_of(recall).part == PartOfDay.ANY


def test_whose_part_of_the_day_it_is_are_rung_first(client):
    in_the_afternoon, in_the_morning = scene.due_check(), scene.due_check()
    rung(in_the_afternoon, 8, MORNING), rung(in_the_morning, 8, AFTERNOON)
    worklists.build(scene.TODAY)
    for part, first in ((MORNING, in_the_morning), (AFTERNOON, in_the_afternoon)):
        with clock.at(scene.NOON + part):
            found = shown_lines.in_order(DeskLine.objects.all(), Section.PHONE)
            assert found[0].patient == first.patient
            assert claims.next_to_phone(build.nurse()) == first.patient


def test_the_call_and_today_name_the_part_of_the_day(client):
    recall = scene.due_check()
    rung(recall, 8, MORNING)
    worklists.build(scene.TODAY)
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    assert "in the afternoon" in read(client.get(reverse("scheduling:today")))
    call = read(client.get(reverse("scheduling:call", args=[recall.patient_id])))
    assert "1 of 3, a call in the afternoon next" in call


def test_a_ladder_of_three_times_of_day_is_refused():
    text = ladder.shipped().replace("times_of_day = 2", "times_of_day = 3")
    assert any("must be 1 or 2" in one for one in ladder.check(text))
