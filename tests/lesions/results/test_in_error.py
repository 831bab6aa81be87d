"""Procedures and results recorded in error (docs/domain.md "Taking back"; the clinic's own way, common practice, no source)."""

import pytest

from clinic import clock
from clinic.duties import ledger, proposals, steps
from clinic.duties.ledger import DutyRefused
from clinic.models import AuditRecord, Duty
from lesions.models import Diagnosis, Procedure
from lesions.results import in_error, pathology
from lesions.results.report_checks import ResultRefused
from lesions.review import signoff
from scheduling.counting import duty_count
from scheduling.models import Recall
from scheduling.planning import replan
from tests import build
from tests.lesions import scene as pictures
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def rules(db):
    with clock.at(scene.NOON):
        yield build.rules_in_force()


@pytest.fixture
def decided(doctor):
    lesion = pictures.lesion(monitoring="long")
    signoff.decide_in_person(lesion=lesion, by=doctor, decision="excise")
    replan.replan_patient(lesion.patient_id)
    return lesion


def cut(lesion, by, kind="excision"):
    made = pathology.record_procedure(patient=lesion.patient, lesion=lesion, by=by, kind=kind, on=scene.TODAY)
    replan.replan_patient(lesion.patient_id)
    return made


def reported(made, by, code="melanoma", **more):
    said = {"code": code, "reported_on": scene.TODAY, **more}
    return pathology.record_diagnosis(patient=made.patient, procedure=made, by=by, **said)


def kinds(patient):
    return sorted(row.kind for row in ledger.open_duties(patient))


def open_recalls(patient):
    replan.replan_patient(patient.pk)
    return set(
        Recall.objects.filter(patient=patient, state__in=("planned", "due")).values_list("of", flat=True)
    )


def test_a_procedure_taken_back_is_owed_again_and_its_tissue_is_not(decided, nurse):
    before = open_recalls(decided.patient)
    made = cut(decided, nurse)
    assert kinds(made.patient) == ["report", "send_specimen"]
    in_error.take_back(row=made, by=nurse, revision=made.revision)
    decided.refresh_from_db()
    assert (decided.state, kinds(made.patient)) == ("biopsy_decided", [])
    assert open_recalls(decided.patient) == before and not decided.procedures.exists()
    assert Procedure.everything.get().struck_by == nurse
    assert duty_count.lost_now() == []


def test_only_who_recorded_it_within_ten_minutes(decided, nurse, doctor):
    made = cut(decided, nurse)
    with pytest.raises(ResultRefused, match="Only who"):
        in_error.take_back(row=made, by=doctor, revision=made.revision)
    with scene.later(minutes=11), pytest.raises(ResultRefused, match="Ten minutes"):
        in_error.take_back(row=made, by=nurse, revision=made.revision)


def test_what_somebody_acted_on_is_not_taken_back(decided, nurse, doctor):
    made = cut(decided, nurse)
    duty = ledger.open_duties(made.patient).get(kind="send_specimen")
    steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome="sent", whom="the laboratory")
    with pytest.raises(ResultRefused, match=f"{doctor} has already acted on it: send the specimen"):
        in_error.take_back(row=made, by=nurse, revision=made.revision)


def test_a_result_taken_back_lets_its_report_be_waited_for_again(decided, nurse, doctor):
    made = cut(decided, nurse)
    row = reported(made, doctor)
    assert "tell" in kinds(made.patient) and "report" not in kinds(made.patient)
    in_error.take_back(row=row, by=doctor, revision=row.revision)
    assert kinds(made.patient) == ["report", "send_specimen"]
    assert reported(made, doctor, code="benign").code == "benign"
    assert duty_count.lost_now() == []


def test_later_two_people_strike_it_through_one_of_them_a_dermatologist(decided, nurse, doctor):
    row = reported(cut(decided, nurse), doctor)
    with scene.later(days=3):
        asked = in_error.propose(row=row, by=nurse, reason="the report of another patient")
        assert Diagnosis.objects.exists()
        assert not proposals.may_answer(asked, build.nurse())
        proposals.confirm(proposal=asked, by=doctor, revision=asked.revision)
    assert not Diagnosis.objects.exists() and kinds(decided.patient) == ["report", "send_specimen"]
    details = AuditRecord.objects.get(action="diagnosis.strike").details
    assert details["proposed_by"] == nurse.pk and details["longer"], "whose days come later is on record"


def test_a_result_that_was_told_in_error_is_put_before_a_dermatologist(decided, nurse, doctor):
    row = reported(cut(decided, nurse), doctor)
    pictures.tell(row, doctor)
    row.refresh_from_db()
    with pytest.raises(ResultRefused, match="already acted"):
        in_error.take_back(row=row, by=doctor, revision=row.revision)
    asked = in_error.propose(row=row, by=doctor, reason="the report of another patient")
    proposals.confirm(proposal=asked, by=nurse, revision=asked.revision)
    duty = ledger.open_duties(decided.patient).get(kind="decide_what_follows")
    assert duty.urgent and duty.because == {"code": "told_in_error", "diagnosis": row.code}
    assert duty_count.lost_now() == []
    told = Duty.objects.get(kind="tell")
    assert told.ended_at, "what was said stays said"
    with pytest.raises(DutyRefused, match="recorded in error since"):
        steps.strike(step=told.steps.get(), by=doctor)


def test_tissue_whose_report_stands_is_not_struck_through_first(decided, nurse, doctor):
    made = cut(decided, nurse)
    reported(made, doctor)
    with pytest.raises(ResultRefused, match="struck through first"):
        in_error.propose(row=made, by=nurse, reason="another lesion")


def test_a_later_procedure_keeps_the_lesion_where_it_is(decided, nurse, doctor):
    first = cut(decided, nurse, kind="biopsy")
    cut(decided, doctor)
    in_error.take_back(row=first, by=nurse, revision=first.revision)
    decided.refresh_from_db()
    assert decided.state == "removed"


def test_on_the_page_it_stays_readable_struck_through(client, decided, nurse):
    client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    made = cut(decided, nurse)
    form = {"revision": made.revision, "reason": "the other arm"}
    page = read(client.post(f"/procedures/{made.pk}/in-error/", form, follow=True))
    assert "Struck through." in page and f"struck through 17 Jun 2026 by {nurse}" in page


def test_on_the_page_it_is_proposed_later(client, decided, nurse):
    client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    made = cut(decided, nurse)
    with scene.later(days=1):
        client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
        form = {"revision": made.revision, "reason": "the other arm"}
        page = read(client.post(f"/procedures/{made.pk}/in-error/", form, follow=True))
    assert "another person has confirmed it" in page
    assert proposals.waiting().get().reason == "the other arm"
