"""Ways in which something owed used to leave every list by ordinary clicks. Source: this clinic's own findings of
November 2026 (common practice, no source); the numbers in the names are theirs."""

from datetime import date, timedelta

import pytest
from django.http import HttpRequest

from clinic import clock
from clinic.access import NotAllowed
from clinic.duties import ledger, proposals, steps
from clinic.duties import wording as duty_words
from clinic.duties.kinds import OwningList
from clinic.models import Patient, Proposal
from clinic.pages import duty_rows
from clinic.people import ending, visits
from lesions.register import concerns, register
from lesions.register.endings import LesionRefused
from lesions.review import signoff
from scheduling.models import Recall
from scheduling.planning import replan
from scheduling.recalls import closing
from scheduling.today import worklists
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _noon():
    with clock.at(scene.NOON):
        build.rules_in_force()
        yield


def bleeding(nurse, **more):
    lesion = pictures.lesion(**more)
    register.note_sign(lesion=lesion, by=nurse, sign="bleeding")
    replan.replan_patient(lesion.patient_id)
    lesion.refresh_from_db()
    return lesion


def urgent_of(patient):
    replan.replan_patient(patient.pk)
    return Recall.objects.filter(patient=patient, urgency="A", state__in=("planned", "due", "booked"))


def amend(lesion, by, **fields):
    lesion.refresh_from_db()
    fields = {"reason": "she says so"} | fields
    return register.amend_or_propose(lesion=lesion, by=by, revision=lesion.revision, **fields)


# ---- 1, 2, 7: the state and the monitoring of a lesion ------------------------------------------


def test_1_a_nurse_alone_ends_no_urgent_duty(nurse, doctor):
    lesion = bleeding(nurse)
    asked = amend(lesion, nurse, state="entered_in_error")
    assert urgent_of(lesion.patient).exists()
    assert list(proposals.waiting()) == [asked] and asked.urgent
    proposals.refuse(proposal=asked, by=doctor, revision=asked.revision, answer="it is there, look again")
    assert urgent_of(lesion.patient).exists()
    assert proposals.unread_answers(nurse).get().answer == "it is there, look again"


def test_1_two_people_enter_in_error_and_it_is_on_record(nurse, doctor):
    lesion = bleeding(nurse)
    asked = amend(lesion, nurse, state="entered_in_error")
    proposals.confirm(proposal=asked, by=doctor, revision=asked.revision)
    lesion.refresh_from_db()
    assert lesion.state == "entered_in_error"
    assert not urgent_of(lesion.patient).exists()


def test_1_a_dermatologist_alone_enters_nothing_in_error(doctor):
    lesion = pictures.lesion()
    assert isinstance(amend(lesion, doctor, state="entered_in_error"), Proposal)
    lesion.refresh_from_db()
    assert lesion.state == "watched"


@pytest.mark.parametrize("state", ["removed", "biopsy_taken", "biopsy_decided"])
def test_2_only_a_procedure_or_a_signature_moves_a_decided_lesion(nurse, doctor, state):
    lesion = pictures.lesion()
    signoff.decide_in_person(lesion=lesion, by=doctor, decision="excise")
    if state == "biopsy_decided":
        lesion = pictures.lesion()
    with pytest.raises(LesionRefused, match="procedure"):
        amend(lesion, nurse, state=state)


def test_2_a_signed_excision_is_not_amended_away(nurse, doctor):
    lesion = pictures.lesion()
    signoff.decide_in_person(lesion=lesion, by=doctor, decision="excise")
    with pytest.raises(LesionRefused, match="later signature"):
        amend(lesion, nurse, state="watched")
    assert urgent_of(lesion.patient).exists()


def test_2_looking_at_a_lesion_does_not_do_what_was_decided(doctor):
    lesion = pictures.lesion()
    signoff.decide_in_person(lesion=lesion, by=doctor, decision="excise")
    assert urgent_of(lesion.patient).exists()
    done = [("lesion_examination", f"lesion:{lesion.pk}")]
    visits.record(patient=lesion.patient, by=doctor, attended_on=scene.TODAY, done=done)
    assert urgent_of(lesion.patient).exists()


def test_7_a_nurse_may_raise_monitoring_and_only_propose_to_lower_it(nurse, doctor):
    lesion = pictures.lesion(monitoring="long")
    assert amend(lesion, nurse, monitoring="short").monitoring == "short"
    asked = amend(lesion, nurse, monitoring="")
    lesion.refresh_from_db()
    assert lesion.monitoring == "short"
    proposals.confirm(proposal=asked, by=doctor, revision=asked.revision)
    lesion.refresh_from_db()
    assert lesion.monitoring is None


# ---- 3, 17: signs without a picture, and on a record that has ended ------------------------------


def test_3_a_sign_on_an_ended_record_stands_in_decisions_the_same_minute(nurse):
    patient = scene.ended("discharged")
    register.note_sign(lesion=pictures.lesion(patient), by=nurse, sign="bleeding")
    asked = ledger.on_list(OwningList.DECISIONS).get()
    assert (asked.kind, asked.urgent) == ("decide_what_follows", True)
    assert register.without_picture().get().patient == patient


def test_3_nor_is_a_concern_about_no_known_lesion_lost_on_an_ended_record(nurse):
    """Found by a random life: nobody was asked, because only a lesion's sign asked."""
    patient = scene.ended("deceased")
    concerns.note(patient=patient, by=nurse, sign="raised", words="her daughter rang")
    asked = ledger.on_list(OwningList.DECISIONS).get()
    assert (asked.kind, asked.patient, asked.subject) == ("decide_what_follows", patient, "patient")


def test_17_a_sign_without_a_picture_stands_in_decisions_until_examined(nurse, doctor):
    lesion = bleeding(nurse)
    assert register.without_picture().get().lesion == lesion
    assert duty_rows.left_on(OwningList.DECISIONS, HttpRequest()) == 1
    register.examine_in_person(lesion=lesion, by=doctor, outcome="a scratch")
    assert duty_rows.left_on(OwningList.DECISIONS, HttpRequest()) == 0


def test_17_in_person_on_the_visit_answers_the_sign(nurse, doctor):
    lesion = bleeding(nurse)
    done = [("lesion_examination", f"lesion:{lesion.pk}")]
    visits.record(patient=lesion.patient, by=doctor, attended_on=scene.TODAY, done=done, note="a scratch")
    assert not register.open_signs(lesion).exists()
    assert lesion.urgent_signs.get().answered_by.visit is not None
    assert not urgent_of(lesion.patient).exists()


def test_17_a_nurse_cannot_tick_an_examination_in_person(nurse):
    lesion = bleeding(nurse)
    done = [("lesion_examination", f"lesion:{lesion.pk}")]
    with pytest.raises(NotAllowed):
        visits.record(patient=lesion.patient, by=nurse, attended_on=scene.TODAY, done=done)


# ---- 4, 12: ticks ---------------------------------------------------------------------------------


def test_4_a_tick_is_no_picture(nurse):
    lesion = pictures.lesion(monitoring="short")
    done = [("lesion_image", f"lesion:{lesion.pk}")]
    with pytest.raises(visits.VisitRefused, match="no picture"):
        visits.record(patient=lesion.patient, by=nurse, attended_on=scene.TODAY, done=done)


def test_12_a_nurse_cannot_tick_a_full_skin_check(nurse):
    recall = scene.overdue_check()
    with pytest.raises(NotAllowed):
        visits.record(
            patient=recall.patient, by=nurse, attended_on=scene.TODAY, done=[("full_skin_check", "patient")]
        )


def test_12_a_nurse_to_whom_the_clinic_gave_it_may(nurse):
    nurse.checks_skin = True
    recall = scene.overdue_check()
    done = [("full_skin_check", "patient")]
    visits.record(patient=recall.patient, by=nurse, attended_on=scene.TODAY, done=done)
    replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    assert recall.state == "completed"


def test_12_a_visit_taken_back_is_owed_again(doctor):
    recall = scene.overdue_check()
    visit = scene.came(recall.patient, scene.TODAY)
    assert scene.check_of(recall.patient) != recall
    visits.take_back(visit=visit, by=visit.by, revision=visit.revision)
    again = scene.check_of(recall.patient)
    assert (again.number, again.latest) == (recall.number, recall.latest)


def test_a_visit_taken_back_opens_the_sign_that_it_answered(nurse, doctor):
    lesion = bleeding(nurse)
    done = [("lesion_examination", f"lesion:{lesion.pk}")]
    visit = visits.record(patient=lesion.patient, by=doctor, attended_on=scene.TODAY, done=done)
    visits.take_back(visit=visit, by=doctor, revision=visit.revision)
    assert register.open_signs(lesion).exists() and urgent_of(lesion.patient).exists()


def test_a_visit_is_taken_back_by_nobody_else_and_not_later(nurse, doctor):
    recall = scene.overdue_check()
    visit = scene.came(recall.patient, scene.TODAY)
    with pytest.raises(visits.VisitRefused, match="Only"):
        visits.take_back(visit=visit, by=nurse, revision=visit.revision)
    with scene.later(minutes=11), pytest.raises(visits.VisitRefused, match="Ten minutes"):
        visits.take_back(visit=visit, by=visit.by, revision=visit.revision)


# ---- 10, 11: closings and the end of care ---------------------------------------------------------


def test_11_a_proposed_closing_stands_in_decisions_and_its_answer_is_read(nurse, doctor):
    recall = scene.due_check()
    said = {"ground": "declined", "note": "she wants no more checks"}
    closing.propose_closing(recall=recall, by=nurse, revision=recall.revision, **said)
    asked = proposals.waiting().get()
    proposals.refuse(proposal=asked, by=doctor, revision=asked.revision, answer="I will ring her")
    recall.refresh_from_db()
    assert (recall.state, recall.proposed_ground) == ("due", "")
    closing.propose_closing(recall=recall, by=nurse, revision=recall.revision, **said)
    asked = proposals.waiting().get()
    proposals.confirm(proposal=asked, by=doctor, revision=asked.revision)
    recall.refresh_from_db()
    assert (recall.state, recall.closed_by) == ("closed", doctor)


def test_11_what_is_finished_meanwhile_leaves_no_proposal_behind(nurse):
    recall = scene.due_check()
    said = {"ground": "declined", "note": "she wants no more checks"}
    closing.propose_closing(recall=recall, by=nurse, revision=recall.revision, **said)
    scene.came(recall.patient, scene.TODAY)
    replan.replan_patient(recall.patient_id)
    assert not proposals.waiting().exists()
    assert "meanwhile" in duty_words.say_answer(proposals.unread_answers(nurse).get())


def end(patient, by, status="transferred", **more):
    patient.refresh_from_db()
    said = {"status": status, "on": scene.TODAY, "ground": "the practice in the next town takes over"}
    return ending.end_care(patient=patient, by=by, revision=patient.revision, **(said | more))


def three_open(nurse, doctor):
    """A sign, a referral and a check that is due."""
    patient = scene.due_check().patient
    for duty in ledger.open_duties(patient):
        said = {"ground": "decided", "note": "done elsewhere"}
        ledger.end_with_ground(duty=duty, by=doctor, revision=duty.revision, **said)
    register.note_sign(lesion=pictures.lesion(patient), by=nurse, sign="bleeding")
    ledger.open_duty("send_referral", patient=patient, opened_from=patient, by=doctor)
    return patient


def test_10_ending_names_what_is_open_and_is_ending_until_handed_over(nurse, doctor):
    patient = three_open(nurse, doctor)
    assert len(ending.closes(patient)) >= 1 and len(ending.outlives(patient)) == 2
    end(patient, doctor)
    assert patient.status == "ending"
    assert [row.kind for row in ledger.on_list(OwningList.DECISIONS)] == ["hand_over"]
    assert not Recall.objects.filter(patient=patient, state__in=("planned", "due", "booked")).exists()
    duty = ledger.on_list(OwningList.DECISIONS).get()
    said = {"whom": "the practice in the next town", "words": "accepted by telephone"}
    steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome="handed_over", **said)
    patient.refresh_from_db()
    assert patient.status == "transferred"
    assert not ledger.open_duties(patient).exists() and not register.without_picture().exists()


def test_10_resuming_opens_what_the_end_closed(nurse, doctor):
    patient = three_open(nurse, doctor)
    before = set(Recall.objects.filter(patient=patient, state="due").values_list("pk", flat=True))
    end(patient, doctor)
    duty = ledger.on_list(OwningList.DECISIONS).get()
    said = {"whom": "the practice", "words": "accepted"}
    steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome="handed_over", **said)
    patient = Patient.objects.get(pk=patient.pk)
    ending.resume_care(patient=patient, by=doctor, revision=patient.revision)
    replan.replan_patient(patient.pk)
    assert [row.kind for row in ledger.open_duties(patient)] == ["send_referral"]
    assert register.without_picture().count() == 1
    assert before <= set(Recall.objects.filter(patient=patient, state="due").values_list("pk", flat=True))


def test_10_the_dead_keep_no_appointment(doctor):
    recall = scene.due_check()
    visit = scene.booked(recall)
    end(recall.patient, doctor, "deceased")
    visit.refresh_from_db()
    recall.refresh_from_db()
    assert (visit.state, recall.state, recall.ground) == ("cancelled_by_clinic", "closed", "deceased")
    assert recall.closed_by == doctor


def test_a_proposed_death_stops_calls_and_a_refused_one_lets_them_go_on(nurse, doctor):
    recall = scene.due_check()
    worklists.build(scene.TODAY)
    assert scene.to_reach()
    said = {"status": "deceased", "on": scene.TODAY, "ground": "her son rang"}
    asked = ending.propose(patient=recall.patient, by=nurse, **said)
    assert not scene.to_reach()
    proposals.refuse(proposal=asked, by=doctor, revision=asked.revision, answer="another of this name")
    assert scene.to_reach()


def test_a_proposed_end_of_care_is_confirmed_in_two_names(nurse, doctor):
    patient = build.patient()
    said = {"status": "moved", "on": scene.TODAY, "ground": "her letter of today"}
    asked = ending.propose(patient=patient, by=nurse, **said)
    proposals.confirm(proposal=asked, by=doctor, revision=asked.revision)
    patient.refresh_from_db()
    assert (patient.status, patient.care_ends.get().second) == ("moved", nurse)


def test_a_nurse_ends_no_care(nurse):
    with pytest.raises(NotAllowed):
        end(build.patient(), nurse)


def test_care_does_not_end_on_a_day_to_come(doctor):
    with pytest.raises(ValueError, match="future"):
        end(build.patient(), doctor, on=date.today() + timedelta(days=400))
