"""What Missed works out over thousands of rows is shown as it is kept, and only while it holds. Our own rule, no source."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.people import patients
from clinic.tally import tally
from scheduling.counting import whereabouts
from scheduling.desk import contacts
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def nurse(client):
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    return client


def looked_at(client, **query):
    """The page, and the questions it took."""
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(reverse("scheduling:missed"), query)
    assert answer.status_code == 200
    return read(answer), [one["sql"] for one in asked.captured_queries]


def test_a_second_look_works_nothing_out(nurse):
    recall = scene.overdue_check(high=True)
    worklists.build(scene.TODAY), whereabouts.count_everybody(scene.TODAY)
    first, asked = looked_at(nurse)
    again, fewer = looked_at(nurse, why="no_slot")
    assert str(recall.patient) in first and str(recall.patient) in again
    large = "not_called", '"scheduling_planproblem"', '"alarms"'
    assert [sum(part in sql for sql in asked) for part in large] == [1, 1, 1]
    assert not [sql for sql in fewer if any(part in sql for part in large)]


def test_what_was_done_since_moves_a_row_to_another_reason(nurse):
    recall = scene.overdue_check(high=True)
    assert "Nobody is missed for this reason" in looked_at(nurse, why="declined")[0]
    about = {"route": "phone", "address": recall.patient.routes.get().value, "outcome": "declined"}
    contacts.log_attempt(recall=recall, by=build.dermatologist(), **about)
    page, _asked = looked_at(nurse, why="declined")
    assert str(recall.patient) in page and "does not want to come 1" in page


def test_no_reason_but_its_own_shows_a_row(nurse):
    called, other = scene.overdue_check(high=True), scene.overdue_check(high=True)
    patients.amend(patient=called.patient, by=build.nurse(), revision=1, family_name="Declinedly")
    about = {"route": "phone", "address": called.patient.routes.get().value, "outcome": "declined"}
    contacts.log_attempt(recall=called, by=build.dermatologist(), **about)
    page, _asked = looked_at(nurse, why="declined")
    assert "Declinedly" in page and other.patient.number not in page
    page, _asked = looked_at(nurse, why="made up")
    assert "Declinedly" in page and other.patient.number in page


def test_the_next_morning_counts_anew(nurse):
    whereabouts.count_everybody(scene.TODAY)
    assert "Counted Wed 17 Jun 2026" in looked_at(nurse)[0]
    with scene.later(days=1):
        whereabouts.count_everybody(scene.TODAY + timedelta(days=1))
        assert "Counted Thu 18 Jun 2026" in looked_at(nurse)[0]


def test_a_count_made_again_on_one_day_is_the_one_that_is_shown(nurse):
    whereabouts.count_everybody(scene.TODAY)
    looked_at(nurse)
    tally.keep()
    scene.overdue_check()
    tally.keep()
    assert "all records0" in looked_at(nurse)[0]
    whereabouts.count_everybody(scene.TODAY)
    assert "all records1" in looked_at(nurse)[0]


def test_a_count_of_a_clock_that_ran_ahead_is_not_shown(nurse):
    """Three hours ahead, on the same day: it counts as not made until then."""
    with scene.later(hours=3):
        whereabouts.count_everybody(scene.TODAY)
    page, _asked = looked_at(nurse)
    assert "No morning’s count has run yet." in page and "12:00" in page
    with scene.later(hours=4):
        assert "15:00" in looked_at(nurse)[0]
