"""The trail by member of staff: what somebody did on some days, in words, and whose pages were opened."""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic import clock
from clinic.people import patients
from clinic.trail import audit
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.django_db
TODAY = scene.TODAY


@pytest.fixture(autouse=True)
def _noon():
    with clock.at(scene.NOON):
        yield


def shown(member, first=TODAY, last=TODAY, by=None):
    asked = {"member": member.pk, "first": first.isoformat(), "last": last.isoformat()}
    answer = build.signed_in(by or build.manager()).get(reverse("clinic:staff_trail"), asked)
    assert answer.status_code == 200
    return read(answer)


def test_what_somebody_did_stands_with_whose_record_it_was_and_in_words():
    nurse, other = build.nurse(name="N. Ash"), build.nurse()
    mine, theirs = (
        build.patient(nurse, family_name="Lindqvist"),
        build.patient(other, family_name="Marchbank"),
    )
    patients.add_route(patient=mine, by=nurse, kind="phone", value="01632 960 119")
    audit.read(mine, by=nurse, page="patient")
    page = shown(nurse)
    for words in ("What N. Ash did, 17 Jun 2026 to 17 Jun 2026", "Lindqvist", mine.number, "registered the patient",
                  "added a contact route", "Kind: telephone."):  # fmt: skip
        assert words in page
    assert "Marchbank" not in page and theirs.number not in page
    assert not any(sign in page.text for sign in ("[[", "{'", "': '"))


def test_days_are_the_clinics_own_and_both_ends_belong():
    nurse = build.nurse()
    for hours, name in ((-13, "Before"), (-11, "First"), (11, "Last"), (12.6, "After")):
        # Noon in Dublin is eleven by UTC: the day begins twelve hours before and ends twelve after.
        with clock.at(scene.NOON + timedelta(hours=hours)):
            build.patient(nurse, family_name=name)
    page = shown(nurse)
    assert "First" in page and "Last" in page and "Before" not in page and "After" not in page
    assert "Before" in shown(nurse, first=TODAY - timedelta(days=1))


def test_without_a_member_nothing_is_shown_and_wrong_days_are_said():
    client = build.signed_in(build.manager())
    assert "Pages opened" not in read(client.get(reverse("clinic:staff_trail")))
    assert "The last day lies before the first." in shown(build.nurse(), last=TODAY - timedelta(days=2))


def test_who_has_left_is_still_offered():
    gone = build.nurse(name="N. Gone")
    gone.is_active = False
    gone.save()
    assert "N. Gone" in read(build.signed_in(build.manager()).get(reverse("clinic:staff_trail")))
