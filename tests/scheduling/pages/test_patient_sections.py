"""The patient page: the next thing first, one line for each duty, provenance once, and as few questions for nine lesions."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import clock
from clinic.wording import write_span
from scheduling.recalls import wording
from scheduling.today import worklists
from tests import build
from tests.full_record import full_record
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def doctor(client):
    build.flags_in_force(), build.rules_in_force(), build.tiers_in_force()
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")


def page(client, patient):
    return client.get(reverse("clinic:patient", args=[patient.pk]))


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (date(2026, 9, 25), date(2026, 10, 23), "25 Sep to 23 Oct 2026"),
        (date(2026, 11, 11), date(2027, 5, 11), "11 Nov 2026 to 11 May 2027"),
        (date(2026, 6, 17), date(2026, 6, 17), "17 Jun 2026"),
    ],
)
def test_a_window_is_written_in_one_short_line(first, last, words):
    assert write_span(first, last) == words


@pytest.mark.parametrize(
    ("today", "words"),
    [
        (date(2026, 5, 31), ""),
        (date(2026, 6, 28), "1 day left"),
        (date(2026, 6, 29), "the last day is today"),
        (date(2026, 7, 1), "2 days past"),
    ],
)
def test_how_near_the_end_of_a_window_is_in_three_words(today, words):
    """Window 1 to 29 June 2026; overdue from the day after: clinic setting, no source."""
    with clock.at(scene.NOON):
        build.rules_in_force()
        assert wording.near_in_short(scene.due_check(), today) == words


def test_nine_lesions_ask_as_few_questions_as_one(client, doctor):
    one, nine = full_record(1), full_record(9)
    worklists.bring_up_to_date()
    counted = []
    for patient in (one, nine):
        page(client, patient)
        with CaptureQueriesContext(connection) as asked:
            page(client, patient)
        counted.append(len(asked))
    # Of them two for carers and consent; a namesake, a pair, a merge or a proposal asks one more where it is there.
    assert counted[0] == counted[1] <= 24


def test_the_next_thing_stands_first_and_provenance_once(client, doctor):
    shown = read(page(client, full_record(2))).text
    assert shown.index("Next: Urgent Visit for a result") < shown.index("What is due, and why")
    assert shown.count("Rule set 1, in force since") == 1
    assert "Also owed" in shown and "Tell the patient" in shown
    assert "Sinclair, Skin checks" in shown, "the source stands on the page, folded"


def test_one_duty_alone_is_unfolded(client):
    with clock.at(scene.NOON):
        build.rules_in_force()
        client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
        patient = scene.due_check(told=True).patient
        patient.recalls.exclude(purpose="full_skin_check").delete()
        assert 'name="why" open' in page(client, patient).content.decode()
