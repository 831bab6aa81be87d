"""A place of the diary stays chosen while one looks for who is to have it."""

import re

import pytest
from django.urls import reverse

from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def nurse(client):
    member = build.nurse()
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return member


def test_whoever_is_looked_for_is_offered_the_chosen_place(client, nurse):
    wanted, other = scene.due_check(), scene.due_check()
    room = scene.hours()
    address = reverse("scheduling:book_place", args=[room.pk, scene.at(14).isoformat()])
    answer = client.post(address, {"words": wanted.patient.number})
    assert re.fullmatch(rf"{re.escape(address)}\?search=[0-9a-f]+", answer.url), (
        "no name stands in an address"
    )
    shown = read(client.get(answer.url))
    assert str(wanted.patient) in shown and str(other.patient) not in shown
    doors = [one.get("href") for one in shown.find_all("link") if one.text.strip() == "Book"]
    door = next(one for one in doors if one.startswith(reverse("scheduling:recall", args=[wanted.pk])))
    form = read(client.get(door.partition("#")[0]))
    (chosen,) = [one for one in form.fields("place") if one.is_chosen]
    assert chosen.value == f"{room.pk}|2026-06-17T15:00:00+01:00"


def test_whoever_has_nothing_to_be_booked_is_said_so(client, nurse):
    patient, room = build.patient(family_name="Calloway"), scene.hours()
    address = reverse("scheduling:book_place", args=[room.pk, scene.at(14).isoformat()])
    shown = read(client.post(address, {"words": "calloway"}, follow=True))
    assert str(patient) not in shown and "has anything that can be booked" in shown
