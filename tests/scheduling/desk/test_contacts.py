"""What counts as an attempt: clinic setting, no source (docs/sources.md, "Reaching people")."""

from datetime import timedelta

import pytest
from django.db import DatabaseError, transaction

from scheduling.desk import contacts
from scheduling.models import ContactAttempt
from scheduling.planning import ladder
from scheduling.recalls import closing
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def recall():
    return scene.due_check()


def tried(recall, outcome="no_answer", route="phone", address="000", hours_ago=0, **more):
    at = scene.NOON - timedelta(hours=hours_ago)
    return contacts.log_attempt(
        recall=recall, by=build.nurse(), route=route, address=address, outcome=outcome, at=at, **more
    )


def test_three_attempts_and_then_a_clinician_looks(recall):
    assert contacts.attempts_left(recall) == 3
    for hours in (50, 26, 2):
        tried(recall, hours_ago=hours)
    assert contacts.attempts_left(recall) == 0


@pytest.mark.parametrize(("hours", "left"), [(3.9, 2), (4.1, 1)])
def test_two_calls_within_four_hours_count_once(recall, hours, left):
    tried(recall, hours_ago=hours)
    tried(recall)
    assert contacts.attempts_left(recall) == left


def test_a_call_and_a_letter_of_one_hour_are_two_attempts(recall):
    tried(recall, hours_ago=1)
    tried(recall, outcome="sent", route="post", address="1 Long Street")
    assert contacts.attempts_left(recall) == 1


@pytest.mark.parametrize("outcome", ["dead", "returned"])
def test_what_could_not_reach_anybody_does_not_count_and_ends_the_route(recall, outcome):
    route = recall.patient.routes.get()
    made = tried(recall, outcome=outcome, address=route.value)
    route.refresh_from_db()
    assert not made.counts and contacts.attempts_left(recall) == 3
    assert route.dead_since == scene.TODAY


@pytest.mark.parametrize(
    "wrong",
    [
        {"outcome": ""},
        {"outcome": "perhaps"},
        {"address": "  "},
        {"route": "smoke"},
        {"outcome": "asks_later"},
        {"next_on": scene.TODAY},
        {"next_on": scene.TODAY + timedelta(days=ladder.LOOK_AGAIN_DAYS + 1)},
        {"hours_ago": -1},
    ],
)
def test_an_attempt_that_says_too_little_is_not_saved(recall, wrong):
    with pytest.raises(contacts.ContactRefused):
        tried(recall, **wrong)
    assert not ContactAttempt.objects.exists()


def test_nothing_is_logged_for_a_closed_recall(recall):
    closing.close(
        recall=recall, by=build.dermatologist(), revision=recall.revision, ground="discharge", note="done"
    )
    with pytest.raises(contacts.ContactRefused, match="closed"):
        tried(recall)


def test_an_attempt_is_never_changed(recall):
    made = tried(recall)
    with pytest.raises(DatabaseError), transaction.atomic():
        ContactAttempt.objects.filter(pk=made.pk).update(outcome="spoke")
