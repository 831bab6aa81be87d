"""The decision page and its list ask the database at most twelve questions, whatever the record and the list hold."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lesions.models import Flag
from lesions.review import signoff
from tests import build
from tests.lesions import scene

pytestmark = pytest.mark.django_db
MOST = 12


@pytest.fixture
def client():
    build.rules_in_force(), build.flags_in_force(), build.tiers_in_force()
    client = Client()
    client.force_login(build.dermatologist())
    return client


def asked(client, name, *args):
    """The questions of the second time, when everything that a process learns once is known."""
    address = reverse(f"lesions:{name}", args=args)
    client.get(address)
    with CaptureQueriesContext(connection) as found:
        assert client.get(address).status_code == 200
    return [one["sql"][:120] for one in found.captured_queries]


def waiting(days_ago):
    lesion = scene.lesion()
    scene.measured(lesion, days_ago=days_ago + 90)
    return scene.measured(lesion, days_ago=days_ago)


@pytest.mark.parametrize("others", [0, 1, 4])
def test_the_decision_page(client, others):
    review = waiting(1)
    build.risk_assessment(review.lesion.patient, by=build.dermatologist(), on=build.days_ago(30))
    for number in range(others):
        waiting(number + 3)
        Flag.objects.create(review=review, code=f"more-{number}", params={"sentence": "one more reason"})
        signoff.decide_in_person(lesion=review.lesion, by=build.dermatologist(), decision="reassure")
    found = asked(client, "decision", review.pk)
    assert len(found) <= MOST, "\n".join(found)


@pytest.mark.parametrize("rows", [1, 4])
def test_the_list(client, rows):
    for number in range(rows):
        waiting(number)
    found = asked(client, "decisions")
    assert len(found) <= MOST, "\n".join(found)
