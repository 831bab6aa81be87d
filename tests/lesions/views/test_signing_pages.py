"""Asked before it is signed, taken back after it, and a picture put right: through the pages."""

import pytest
from django.urls import reverse

from clinic.duties import ledger
from lesions.models import Image, RevokedSignOff, SignOff
from lesions.review import signoff
from scheduling.planning import replan
from tests import build
from tests.lesions import scene
from tests.lesions.review.test_signoff import look
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(doctor):
    return build.signed_in(doctor)


@pytest.fixture
def review(doctor):
    found = scene.measured(scene.lesion(monitoring="long"))
    look(found, doctor)
    return found


def url(name, *args):
    return reverse(f"lesions:{name}", args=args)


def filled(review, decision, **more):
    return {"decision": decision, "revision": review.revision, "note": "", **more}


def test_the_form_comes_back_with_the_question_and_a_tick(page, review):
    given = filled(review, "look_again", months=6, note="Suspicious, please excise")
    answer = page.post(url("decision", review.pk), given)
    shown = read(answer)
    assert answer.status_code == 422 and "“Suspicious”, “excise”" in shown
    assert shown.find("checkbox", "Sign all the same") and not SignOff.objects.exists()
    assert page.post(url("decision", review.pk), given | {"all_the_same": "on"}).status_code == 302
    assert SignOff.objects.get().months == 6


def test_beside_the_question_stands_what_would_follow(page, review):
    build.rules_in_force()
    shown = read(page.post(url("decision", review.pk), filled(review, "look_again", months=24, step="say")))
    assert "the plan will ask earlier" in shown
    assert "Look again in 24 months, lesion 1" in shown and "Planned: picture of a lesion between" in shown


def test_at_the_bedside_it_is_asked_too(page, review):
    given = {"decision": "reassure", "note": "dringend, Exzision"}
    assert "“dringend”" in read(page.post(url("decide_in_person", review.lesion_id), given))
    page.post(url("decide_in_person", review.lesion_id), given | {"all_the_same": "on"})
    assert SignOff.objects.get().in_person


def test_what_follows_is_shown_and_nothing_signed(page, review):
    build.rules_in_force()
    answer = page.post(
        url("decision", review.pk), filled(review, "look_again", months=3, step="say", note="x")
    )
    shown = read(answer)
    assert answer.status_code == 200 and "picture of a lesion between" in shown
    assert not SignOff.objects.exists()


def test_a_script_gets_the_sentences_of_what_would_be_signed_and_owed(page, review):
    build.rules_in_force()
    replan.replan_patient(review.lesion.patient_id)
    asked = filled(review, "refer", step="say")
    answer = page.post(url("decision", review.pk), asked, headers={"Accept": "application/json"}).json()
    assert "Refer, lesion 1, LEFT upper arm, front." in read(answer["html"])
    assert "Owed: send the referral, by" in read(answer["html"]) and not answer["asked"]
    assert not SignOff.objects.exists()


def test_a_script_is_told_which_field_is_wrong(page, review):
    asked = filled(review, "look_again", months="", step="say")
    answer = page.post(url("decision", review.pk), asked, headers={"Accept": "application/json"})
    assert answer.status_code == 422 and list(answer.json()["errors"]) == ["months"]


def test_at_the_bedside_each_decision_says_its_day(page, review):
    build.rules_in_force()
    replan.replan_patient(review.lesion.patient_id)
    shown = read(page.get(url("decide_in_person", review.lesion_id)))
    assert "3 months: picture of a lesion between" in shown
    assert "Excise · examination of a lesion in person between" in shown


def test_what_was_just_signed_is_taken_back_from_the_list(page, review):
    page.post(url("decision", review.pk), filled(review, "excise"))
    assert "Signed: Excise" in read(page.get(url("decisions")))
    assert page.post(url("take_back", SignOff.objects.get().pk)).status_code == 302
    assert RevokedSignOff.objects.count() == 1
    assert "taken back" in read(page.get(url("lesion", review.lesion_id)))
    assert "Signed: Excise" not in read(page.get(url("decisions")))


def test_another_reads_why_it_is_not_taken_back(page, review):
    signed = signoff.decide_in_person(lesion=review.lesion, by=build.dermatologist(), decision="excise")
    answer = page.post(url("take_back", signed.pk), follow=True)
    assert "Only who signed it takes it back" in read(answer)


@pytest.fixture
def wrong(review, doctor):
    return signoff.record(review_id=review.pk, by=doctor, decision="wrong_subject", revision=review.revision)


def test_the_picture_is_moved_to_a_patient_found_by_number(wrong, review):
    nurse, right = build.signed_in(build.nurse()), scene.lesion()
    listed = read(nurse.get(url("pictures")))
    assert listed.leads_to(url("put_right", wrong.pk))
    address = nurse.post(url("put_right", wrong.pk), {"who": right.patient.number}).url
    assert right.patient.number not in address
    assert str(right.patient) in read(nurse.get(address))
    nurse.post(address, {"lesion": right.pk, "revision": Image.objects.get().revision})
    assert Image.objects.get().lesion == right
    assert "A picture was moved away" in read(nurse.get(url("lesion", review.lesion_id)))
    assert "was moved to its own lesion" in read(nurse.get(url("decision", review.pk)))
    assert "Nothing is left to do" in read(nurse.get(url("put_right", wrong.pk)))


def test_a_picture_nobody_knows_is_set_aside_with_a_reason(page, wrong, review):
    revision = Image.objects.get().revision
    assert page.post(url("set_aside", wrong.pk), {"reason": "", "revision": revision}).status_code == 422
    page.post(url("set_aside", wrong.pk), {"reason": "no name on it", "revision": revision})
    assert [row.kind for row in ledger.open_duties(review.lesion.patient)] == ["repeat_picture"]
    shown = read(page.get(url("lesion", review.lesion_id)))
    assert "no name on it" in shown and "set aside: counts for nothing" in shown


def test_what_was_signed_stands_without_a_blank_before_its_comma(page, review, doctor):
    signed = signoff.record(
        review_id=review.pk, by=doctor, decision="look_again", months=1, revision=review.revision
    )
    lately = " ".join(page.get(url("decisions")).content.decode().split())
    assert "(1 month), <a" in lately and str(signed.lesion.patient) in lately
