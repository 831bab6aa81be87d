"""Who tells a result, whether picture and report agree, and a report that fits nobody. Common practice, no source."""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic import clock
from clinic.access import NotAllowed
from clinic.duties import ledger, steps
from clinic.duties.ledger import DutyRefused
from clinic.models import Duty
from clinic.pages import duty_rows
from lesions.models import Flag
from lesions.register import register, unmatched
from lesions.results import pathology
from lesions.review import signoff
from tests import build
from tests.lesions import scene
from tests.lesions.results.test_results_owed import SAID, amend, cut, open_, owed, report, settle
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesion():
    return scene.lesion(monitoring="short")


# ---- who tells ------------------------------------------------------------------------------------


def test_a_malignant_result_is_told_by_a_dermatologist_or_whom_one_named(lesion, nurse, doctor):
    """docs/domain.md: "tell | dermatologist, or whom the reader names"."""
    row, other = report(lesion, doctor, tells=nurse), build.nurse()
    with pytest.raises(DutyRefused, match=f"{nurse} was named to tell this"):
        pathology.tell(diagnosis=row, by=other, **SAID)
    pathology.tell(diagnosis=row, by=nurse, **SAID)


def test_where_nobody_was_named_a_malignant_result_is_a_dermatologists(lesion, nurse, doctor):
    row = report(lesion, doctor)
    with pytest.raises(DutyRefused, match="nobody was named"):
        pathology.tell(diagnosis=row, by=nurse, **SAID)
    ledger.give_to(duty=open_(lesion, "tell"), by=doctor, owner=nurse, revision=1)
    pathology.tell(diagnosis=row, by=nurse, **SAID)


def test_only_a_dermatologist_names_and_only_who_may_tell(lesion, nurse, doctor):
    report(lesion, doctor)
    duty = open_(lesion, "tell")
    with pytest.raises(NotAllowed):
        ledger.give_to(duty=duty, by=nurse, owner=nurse, revision=1)
    with pytest.raises(DutyRefused, match="may not"):
        ledger.give_to(duty=duty, by=doctor, owner=build.manager(), revision=1)


def test_the_reader_names_who_tells_on_the_page(client, lesion, nurse, doctor):
    report(lesion, doctor)
    duty = open_(lesion, "tell")
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    address = reverse("clinic:give_duty", args=[duty.pk])
    page = read(client.post(address, {"owner": nurse.pk, "revision": duty.revision}, follow=True))
    assert f"for {nurse}" in page
    duty.refresh_from_db()
    assert duty.owner == nurse


# ---- do picture and report agree? -----------------------------------------------------------------


def flagged(lesion, limit=10.0):
    review = scene.measured(lesion)
    Flag.objects.create(
        review=review, code="area_growth", params={"sentence": "The area grew."}, value=30.0, limit=limit
    )
    return review


def test_a_benign_report_after_a_strong_flag_is_asked_about(lesion, nurse, doctor):
    """docs/domain.md "decide"; clinic-pathological correlation: common practice, no source."""
    flagged(lesion)
    report(lesion, doctor, code="benign", procedure=cut(lesion, nurse))
    duty = open_(lesion, "agree")
    assert (duty.subject, duty.patient) == (f"lesion:{lesion.pk}", lesion.patient)
    assert duty_rows.BECAUSE["agree"](duty.because).startswith("The report says benign")
    settle(lesion, "agree", doctor, "disagree", words="deeper levels are asked for")
    assert open_(lesion, "decide_what_follows").urgent


@pytest.mark.parametrize(("code", "limit"), [("benign", None), ("bcc", 10.0)])
def test_it_is_not_asked_where_nothing_disagrees(lesion, nurse, doctor, code, limit):
    """A picture that could not be judged is no strong flag; a malignant report has its own way."""
    flagged(lesion, limit)
    report(lesion, doctor, code=code)
    assert "agree" not in owed(lesion)


def test_a_sign_is_as_strong_as_a_flag_and_a_signature_answers(lesion, nurse, doctor):
    register.note_sign(lesion=lesion, by=nurse, sign="bleeding")
    report(lesion, doctor, code="benign")
    signed = signoff.decide_in_person(lesion=lesion, by=doctor, decision="reassure")
    assert Duty.objects.get(kind="agree").evidence == f"lesions.signoff:{signed.pk}"


def test_a_report_that_is_no_longer_benign_asks_no_more(lesion, nurse, doctor):
    flagged(lesion)
    row = report(lesion, doctor, code="benign")
    amend(row, doctor, code="bcc", why="a second reader")
    assert "agree" not in owed(lesion)


# ---- a report that fits nobody --------------------------------------------------------------------


def unmatched_report(by, **more):
    fields = {
        "laboratory": "Laboratory 1",
        "reference": "R 77",
        "name": "T. Person",
        "words": "a benign mole",
    }
    return unmatched.take(by=by, **fields | more)


def test_a_report_that_fits_nobody_is_owed_within_a_day(nurse):
    duty = unmatched_report(nurse)
    assert (duty.kind, duty.patient) == ("match_report", None)
    assert duty.due_on == clock.today() + timedelta(days=1) and "Laboratory 1, R 77, T. Person" in duty.note


def test_filed_with_its_specimen_a_dermatologist_reads_it_the_same_day(lesion, nurse, doctor):
    taken, duty = cut(lesion, nurse), unmatched_report(nurse)
    with pytest.raises(DutyRefused, match="No record"):
        steps.settle(duty=duty, by=nurse, revision=1, outcome="filed", whom="QD-99999")
    steps.settle(duty=duty, by=nurse, revision=1, outcome="filed", whom=lesion.patient.number)
    reading = open_(lesion, "read")
    assert (reading.subject, reading.due_on) == (f"procedure:{taken.pk}", clock.today())
    assert "report" in owed(lesion), "its report is wanted until it is recorded"
    report(lesion, doctor, code="benign", procedure=taken)
    assert owed(lesion) == ["tell"]


def test_a_report_filed_wrongly_is_nobodys_again(lesion, nurse):
    duty = unmatched_report(nurse)
    step = steps.settle(duty=duty, by=nurse, revision=1, outcome="filed", whom=lesion.patient.number)
    steps.strike(step=step, by=nurse)
    duty.refresh_from_db()
    assert (duty.patient, duty.ended_at, owed(lesion)) == (None, None, [])


def test_returned_to_the_laboratory_says_a_word(nurse):
    duty = unmatched_report(nurse)
    with pytest.raises(DutyRefused, match="words"):
        steps.settle(duty=duty, by=nurse, revision=1, outcome="returned")
    steps.settle(duty=duty, by=nurse, revision=1, outcome="returned", words="sent back, not ours")


def test_it_is_kept_from_the_page_of_results(client, nurse):
    client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    assert read(client.get(reverse("lesions:results"))).find("link", "A report that fits nobody")
    form = {"laboratory": "Laboratory 1", "words": "a benign mole"}
    page = read(client.post(reverse("lesions:unmatched_report"), form, follow=True))
    assert "Match the report" in page and "a benign mole" in page
