"""The ladder: two people change it, the list and the independent count follow, and nobody who was tried often is left."""

import re

import pytest
from django.urls import reverse

from clinic.models import Duty, Policy
from scheduling.counting import duty_count
from scheduling.desk import contacts
from scheduling.models import DeskLine, Section
from scheduling.planning import ladder
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
ONCE = ladder.shipped().replace('routes = ["post", "phone", "phone"]', 'routes = ["phone"]')


def tried(recall, hours_ago):
    with scene.later(hours=-hours_ago):
        said = {"route": "phone", "address": "000", "outcome": "no_answer"}
        return contacts.log_attempt(recall=recall, by=build.nurse(), **said)


def sign_in(client, member):
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return member


def test_what_is_shipped_is_what_the_reference_proposes():
    """A 3, B 3, C 2 attempts before a dermatologist decides: our own proposal, no source (docs/sources.md)."""
    shipped = ladder.ladders(ladder.shipped())
    assert {code: row.attempts for code, row in shipped.items()} == {"A": 3, "B": 3, "C": 2}
    assert ladder.check(ladder.shipped()) == []


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (ladder.shipped().replace('"phone", "email"', '"pigeon", "email"'), "is none of phone, email, post"),
        (ladder.shipped().replace("within_days = 7", "within_days = 1"), "too short for so many attempts"),
        (re.sub(r'routes = \["post", "post"\]', "routes = []", ladder.shipped()), "must be 1 to 12 attempts"),
        (ladder.shipped().replace("days_apart = 14", "days_apart = 1.5"), "must be a whole number"),
    ],
)
def test_a_ladder_that_cannot_be_climbed_is_refused(text, fault):
    assert any(fault in one for one in ladder.check(text))


def test_who_a_shorter_ladder_uses_up_goes_to_a_dermatologist(client):
    recall = scene.due_check()
    tried(recall, 30)
    assert not Duty.objects.filter(kind="decide_what_follows").exists()
    first = sign_in(client, build.dermatologist())
    assert "3 attempts within 28 days" in read(client.get(reverse("scheduling:ladder")))
    client.post(reverse("scheduling:ladder_draft"), {"toml": ONCE})
    made = Policy.objects.get(kind="ladder")
    client.post(reverse("scheduling:ladder_propose", args=[made.pk]), {"revision": 1})
    approve = reverse("scheduling:ladder_approve", args=[made.pk])
    client.post(approve, {"revision": 2})
    made.refresh_from_db()
    assert made.state == "proposed" and made.proposed_by == first, "whoever proposed it does not approve it"
    sign_in(client, build.dermatologist())
    client.post(approve, {"revision": 2})
    made.refresh_from_db()
    assert made.state == "in_force"
    assert Duty.objects.get(kind="decide_what_follows").because["code"] == "attempts_used_up"
    assert duty_count.lost_now() == [], "the independent count reads the same ladder by itself"
    worklists.build(scene.TODAY)
    assert DeskLine.objects.get().section == Section.LATER
    assert contacts.attempts_left(recall) == 0


def test_the_count_notices_where_nobody_was_asked():
    recall = scene.due_check()
    tried(recall, 30)
    build.policy_in_force("ladder", ONCE)  # past the road that asks
    assert [row.code for row in duty_count.lost_now()] == ["attempts_used_up"]
