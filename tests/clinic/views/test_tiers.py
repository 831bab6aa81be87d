"""The page of the tier criteria: two people bring them into force, and nobody's tier changes by that."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import policies
from clinic.models import AuditRecord, Policy, RiskAssessment
from clinic.people import ending, risk, wording
from clinic.tally import tally
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db

# A clinic that wants more than 40 moles in the high tier; invented.
STRICTER = risk.shipped().replace('naevi.is = "over100"', 'naevi.in = ["41-100", "over100"]', 1)


def url(name="tiers", *args):
    return reverse(f"clinic:{name}", args=args)


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


def proposed(toml=STRICTER):
    first = build.dermatologist(name="Dr First")
    made = policies.draft(kind="tiers", toml=toml, by=first)
    return policies.propose(policy=made, by=first, revision=made.revision)


def someone(**answers):
    patient = build.patient(family_name="Mole-Rich", born=date(1990, 1, 1))
    build.risk_assessment(patient, on=date(2026, 1, 5), **answers)
    return patient


def test_without_criteria_nobody_is_assessed_and_the_page_says_why(doctor):
    patient = build.patient()
    assert "No risk can be assessed until two people" in page(doctor)
    form = {key: value for key, value in build.AVERAGE_ANSWERS.items() if value is not False}
    form |= {"assessed_on": "2026-01-05", "note": "typed words"}
    assert wording.NONE_IN_FORCE in page(doctor, "assess_risk", patient.pk)
    answer = doctor.post(url("assess_risk", patient.pk), form)
    shown = read(answer)
    assert answer.status_code == 422 and wording.NONE_IN_FORCE in shown and "typed words" in shown
    assert not RiskAssessment.objects.exists()
    assert not AuditRecord.objects.filter(action="risk.assess").exists()


def test_two_people_bring_the_shipped_criteria_into_force(manager, doctor):
    manager.post(url("tiers_draft"), {"toml": risk.shipped().replace("\n", "\r\n")})
    made = Policy.objects.get(kind="tiers")
    assert (made.state, made.toml) == ("draft", risk.shipped())
    manager.post(url("tiers_propose", made.pk), {"revision": made.revision})
    assert "Approve: bring into force" not in page(manager, "tiers_version", made.pk)
    assert "Approve: bring into force" in page(doctor, "tiers_version", made.pk)
    doctor.post(url("tiers_approve", made.pk), {"revision": 2, "preview": risk.preview(made).digest})
    shown = page(doctor)
    assert "The tier criteria in force" in shown and "approved by dermatologist" in shown
    assert "Skin phototype is II, and age is at least 45, and age is at most 65." in shown
    assert "not multiplied: the factors are not independent" in shown and "USA, 2014" in shown
    assert "second-hand, confirm before use" in shown and "Sources differ" in shown
    trail = AuditRecord.objects.filter(action__startswith="policy.").order_by("pk")
    assert [row.action for row in trail] == ["policy.draft", "policy.propose", "policy.approve"]


def test_whoever_proposed_criteria_cannot_approve_them(doctor):
    doctor.post(url("tiers_draft"), {"toml": risk.shipped()})
    made = Policy.objects.get(kind="tiers")
    doctor.post(url("tiers_propose", made.pk), {"revision": 1})
    form = {"revision": 2, "preview": risk.preview(made).digest}
    answer = doctor.post(url("tiers_approve", made.pk), form, follow=True)
    made.refresh_from_db()
    assert made.state == "proposed" and "a second person is needed" in read(answer)


def test_a_faulty_text_is_refused_by_path_and_kept_in_the_form(manager):
    text = risk.shipped().replace('tier = "high"', 'tier = "middling"', 1) + "# mine\n"
    answer = manager.post(url("tiers_draft"), {"toml": text})
    shown = read(answer)
    assert answer.status_code == 422 and "# mine" in shown
    assert "criterion[4:past-melanoma].tier: must be one of" in shown
    assert not Policy.objects.exists()


def test_the_page_names_who_would_move_before_anybody_approves(doctor):
    someone(naevi="41-100")
    shown = page(doctor, "tiers_version", proposed().pk)
    assert "Whose tier would differ" in shown and "One of one person assessed" in shown
    assert "Mole-Rich" in shown and "more than 100 moles" in shown


def test_a_set_that_was_not_looked_at_is_not_approved(doctor):
    made = proposed()
    seen = risk.preview(made).digest
    someone(naevi="41-100")
    answer = doctor.post(url("tiers_approve", made.pk), {"revision": 2, "preview": seen}, follow=True)
    made.refresh_from_db()
    assert made.state == "proposed" and "has changed since" in read(answer)


def test_a_new_set_changes_no_tier_until_a_person_assesses_anew(doctor):
    patient = someone(naevi="41-100")
    old = risk.current(patient)
    made = proposed()
    doctor.post(url("tiers_approve", made.pk), {"revision": 2, "preview": risk.preview(made).digest})
    kept = risk.current(patient)
    assert (kept.pk, kept.tier, kept.policy, kept.revision) == (old.pk, "average", old.policy, old.revision)
    assert "To assess again: the criteria changed" in page(doctor) and "Mole-Rich" in page(doctor)
    assert "the same answers give the tier high" in page(doctor, "patient", patient.pk)
    build.risk_assessment(patient, on=date(2026, 2, 5), naevi="41-100")
    anew = risk.current(patient)
    assert (anew.tier, anew.policy) == ("high", made)
    assert risk.preview(made).moves == ()
    assert "Assess again: the criteria changed" not in page(doctor, "patient", patient.pk)


def test_only_the_latest_assessment_of_active_patients_is_looked_at():
    patient = someone(naevi="41-100")
    build.risk_assessment(patient, on=date(2026, 3, 5), naevi="0-15")
    gone = someone(naevi="41-100")
    end = {"status": "deceased", "on": date(2026, 4, 1), "ground": "told by the family"}
    ending.end_care(patient=gone, by=build.dermatologist(), revision=gone.revision, **end)
    found = risk.preview(proposed())
    assert (found.looked_at, found.moves) == (1, ())


def test_the_record_says_which_criteria_judged():
    patient = someone(red_hair=True)
    row = risk.current(patient)
    details = AuditRecord.objects.get(action="risk.assess").details
    assert details["tiers"] == row.policy.version == 1 and details["tier"] == "high"


def test_published_figures_stand_beside_the_factors_that_hold(doctor):
    shown = page(doctor, "patient", someone(red_hair=True).pk)
    assert "3.64 times (2.56 to 5.37)" in shown and "Not multiplied" in shown
    assert "1.47 times" not in shown and "USA, 2024" in shown


def test_the_page_marks_what_is_from_memory_and_lists_what_is_left_open(manager, doctor):
    made = proposed(risk.shipped())
    shown = page(doctor, "tiers_version", made.pk)
    assert "Two or more invasive melanomas" in shown and "from memory, to be confirmed" in shown
    assert "Left to whoever assesses" in shown and "genetic counselling: your decision" in shown


def test_a_limit_set_is_no_version_of_the_criteria(doctor):
    assert doctor.get(url("tiers_version", build.flags_in_force().pk)).status_code == 404


def test_more_people_and_versions_cost_no_more_queries(doctor):
    def counted(where):
        with CaptureQueriesContext(connection) as found:
            page(doctor, *where)
        return len(found)

    someone(naevi="41-100")
    where = ("tiers_version", proposed().pk)
    page(doctor, *where)
    one = counted(where)
    someone(naevi="41-100")
    someone(naevi="41-100")
    proposed()
    tally.keep()  # as the request does that writes them
    assert counted(where) == one
