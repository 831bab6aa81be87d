"""The page of the limits: two people bring them into force, and a faulty text changes nothing."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import Policy
from clinic.tally import tally
from lesions.limits import flags, wording
from lesions.limits.flags import Limit
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db

OWN = '\n[repeatability]\nsource = "own mole, 5 pictures"\n[repeatability.relative]\narea = 0.034\n'


def url(name="limits", *args):
    return reverse(f"lesions:{name}", args=args)


def page(client, *where):
    answer = client.get(url(*where))
    assert answer.status_code == 200
    return read(answer)


@pytest.fixture
def manager():
    return build.signed_in(build.manager())


@pytest.fixture
def doctor():
    return build.signed_in(build.dermatologist())


def test_without_limits_the_page_says_that_every_picture_is_looked_at(manager):
    shown = page(manager)
    assert "No limits are in force" in shown and "Every picture is put before a dermatologist" in shown


def test_two_people_bring_limits_into_force(manager, doctor):
    text = flags.shipped().replace("limit = 10.0", "limit = 12.5")
    manager.post(url("limits_draft"), {"toml": text.replace("\n", "\r\n")})
    made = Policy.objects.get(kind="flags")
    assert (made.state, made.toml) == ("draft", text)
    manager.post(url("limits_propose", made.pk), {"revision": made.revision})
    assert "Approve: bring into force" not in page(manager, "limits_version", made.pk)
    assert manager.post(url("limits_approve", made.pk), {"revision": 2}).status_code == 403
    assert "Approve: bring into force" in page(doctor, "limits_version", made.pk)
    doctor.post(url("limits_approve", made.pk), {"revision": 2})
    shown = page(doctor)
    assert "The limits in force" in shown and "more than 12.5 %" in shown
    assert "Proposed by manager" in shown and "approved by dermatologist" in shown


def test_whoever_proposed_limits_cannot_approve_them(doctor):
    doctor.post(url("limits_draft"), {"toml": flags.shipped()})
    made = Policy.objects.get(kind="flags")
    doctor.post(url("limits_propose", made.pk), {"revision": 1})
    answer = doctor.post(url("limits_approve", made.pk), {"revision": 2}, follow=True)
    made.refresh_from_db()
    assert made.state == "proposed" and "a second person is needed" in read(answer)


def test_a_stale_approval_changes_nothing(manager, doctor):
    manager.post(url("limits_draft"), {"toml": flags.shipped()})
    made = Policy.objects.get(kind="flags")
    manager.post(url("limits_propose", made.pk), {"revision": 1})
    assert doctor.post(url("limits_approve", made.pk), {"revision": 1}).status_code == 409
    made.refresh_from_db()
    assert made.state == "proposed"


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('"area", "area_px"', '"aera"', "there is no measure 'aera'"),
        ("limit = 10.0", "limit = inf", "limit area_growth: limit is a number"),
        ('of = "growth"', "of = 3", "of is one of value, growth, appears, regions"),
        ('sentence = "The area grew."', "sentence = 4", "sentence is a text"),
        ('name = "Shipped limits"', "", "has a name"),
        ('name = "Shipped limits"', 'name = "x', "not readable as TOML"),
    ],
)
def test_a_faulty_text_is_refused_by_name_and_kept_in_the_form(manager, old, new, fault):
    text = flags.shipped().replace(old, new, 1) + "# mine\n"
    answer = manager.post(url("limits_draft"), {"toml": text})
    shown = read(answer)
    assert answer.status_code == 422 and fault in shown and "# mine" in shown
    assert not Policy.objects.exists()


def test_limits_that_are_no_tables_are_a_fault_and_no_breakdown():
    assert wording.faults_of('name = "x"\nlimit = [1, 2]') == [
        "every limit is a table of its own, headed [[limit]]"
    ]


def test_a_draft_starts_from_the_set_in_force_or_from_the_shipped_one(manager):
    assert "Shipped limits" in page(manager, "limits_draft")
    build.policy_in_force("flags", flags.shipped().replace("Shipped limits", "Ours since spring"))
    assert "Ours since spring" in page(manager, "limits_draft")


def test_each_limit_is_a_sentence_with_its_source(doctor):
    build.flags_in_force()
    shown = page(doctor)
    assert "largest diameter above 6 mm." in shown and "asymmetric axes above 1." in shown
    assert "blue-grey or black was below 3 % of the area and is not any more" in shown
    assert "patches that are of a new colour or grown take more than 5 % of the area" in shown
    assert "Clinic setting, no source." in shown and "nothing inside these limits is thereby safe" in shown
    assert "Smallest change that shows" not in shown


def test_the_clinics_own_repeatability_is_shown_where_the_set_has_it(doctor):
    build.policy_in_force("flags", flags.shipped() + OWN)
    shown = page(doctor)
    assert "own mole, 5 pictures" in shown and "3.4 % of the value" in shown


def test_a_kind_of_limit_that_is_left_out_is_a_caution():
    only = Limit("diameter", ("feret",), "value", 6, "mm", "clinic setting, no source", "Wide.")
    said = wording.cautions((only,))
    assert any("No limit for growth" in caution for caution in said)
    assert not any("No limit for a single picture" in caution for caution in said)


def test_a_rule_set_is_no_version_of_the_limits(doctor):
    assert doctor.get(url("limits_version", build.rules_in_force().pk)).status_code == 404


def test_the_list_of_decisions_leads_to_the_limits(doctor):
    assert page(doctor, "decisions").leads_to(url())


def test_more_versions_cost_no_more_queries(doctor):
    def counted():
        with CaptureQueriesContext(connection) as found:
            page(doctor)
        return len(found)

    build.flags_in_force()
    page(doctor)
    one = counted()
    build.flags_in_force()
    build.flags_in_force()
    tally.keep()  # as the request does that writes them
    assert counted() == one
