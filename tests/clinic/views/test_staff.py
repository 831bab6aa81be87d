"""The administrator's pages of accounts: what is typed there is kept, and the trail says who changed what."""

import pytest
from django.urls import reverse

from clinic.access import Act, may
from clinic.models import AuditRecord, Member
from tests import build

pytestmark = pytest.mark.django_db

TYPED = {"username": "new.nurse", "name": "N. Nurse", "role": "nurse", "is_active": "on"}


@pytest.fixture
def administrator(client):
    client.force_login(build.administrator())
    return client


def sent(client, where, **typed):
    answer = client.post(where, TYPED | typed)
    assert answer.status_code == 302, answer.context["form"].errors
    return Member.objects.get(username="new.nurse")


def test_a_nurse_who_checks_skin_is_added_with_that_right(administrator):
    made = sent(administrator, reverse("clinic:add_member"), password=build.PASSWORD, checks_skin="on")
    assert may(made, Act.SKIN_CHECK) and made.check_password(build.PASSWORD)
    assert AuditRecord.objects.filter(action="staff.add").first().details == {
        "role": "nurse",
        "checks_skin": True,
    }


def test_the_right_to_check_skin_is_given_and_taken_and_the_trail_says_so(administrator):
    made = sent(administrator, reverse("clinic:add_member"), password=build.PASSWORD)
    page = reverse("clinic:amend_member", args=[made.pk])
    assert may(sent(administrator, page, checks_skin="on"), Act.SKIN_CHECK)
    assert not may(sent(administrator, page), Act.SKIN_CHECK)
    given, taken = AuditRecord.objects.filter(action="staff.amend").order_by("pk")
    assert (given.details["was"]["checks_skin"], given.details["checks_skin"]) == (False, True)
    assert (taken.details["was"]["checks_skin"], taken.details["checks_skin"]) == (True, False)
    assert made.check_password(build.PASSWORD), "an empty password leaves the old one"
