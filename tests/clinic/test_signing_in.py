import pytest
from django.urls import reverse

from clinic.people import staffing
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db


def sign_in(client, member, password=build.PASSWORD):
    return client.post(reverse("login"), {"username": member.username, "password": password})


def test_a_member_signs_in_and_lands_on_the_own_desk(client):
    answer = sign_in(client, build.dermatologist())
    assert answer.status_code == 302
    assert client.get("/", follow=True).redirect_chain[-1][0] == reverse("lesions:decisions")


def test_a_demo_log_in_is_refused_outside_the_demo_also_in_an_open_session(client, settings):
    member = build.nurse(is_demo=True)
    settings.DEMO = True
    assert sign_in(client, member).status_code == 302
    settings.DEMO = False
    assert client.get(reverse("scheduling:today")).url.startswith(reverse("login"))
    assert sign_in(client, member).status_code == 200


def test_whoever_may_not_sign_in_any_more_is_out_at_once(client):
    member = build.nurse()
    sign_in(client, member)
    staffing.amend(
        member=member, by=build.administrator(), name=member.name, role=member.role, is_active=False
    )
    assert client.get(reverse("scheduling:today")).status_code == 302


def test_five_wrong_passwords_close_the_door_and_say_so(client, settings):
    member = build.nurse()
    answers = [sign_in(client, member, "wrong") for _ in range(settings.AXES_FAILURE_LIMIT)]
    assert answers[-1].status_code == 429 and "Too many tries" in read(answers[-1])
    assert sign_in(client, member).status_code == 429
