"""The count of duties: what is planted by direct SQL is named, and nothing is invented. Our own rule (common practice,
no source): no duty leaves every list without a word in the trail."""

from datetime import timedelta
from functools import partial
from itertools import count

import pytest
from django.db import transaction

from clinic import clock
from clinic.duties import ledger, steps
from clinic.models import AuditRecord, CareEnd, Patient
from clinic.people import ending
from lesions.register import register
from lesions.results import pathology
from lesions.review import outside, signoff, taking_back
from scheduling.counting import duty_count, whereabouts
from scheduling.desk import bookable, booking, contacts, unfiled
from scheduling.models import FailsafeRun, Recall
from scheduling.planning import replan
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene
from tests.scheduling.counting.planting import ENDED, GONE, MANY, lost, measure_like_the_first, sql

pytestmark = pytest.mark.django_db
_seeds, _days = count(5000), count(10)


@pytest.fixture(autouse=True)
def _noon():
    with clock.at(scene.NOON):
        build.rules_in_force()
        yield


# ---- what is planted: (how one stands there, the SQL that loses it, the kind that names it) -------


def signed_excision():
    lesion = pictures.lesion()
    signoff.decide_in_person(lesion=lesion, by=build.dermatologist(), decision="excise")
    replan.replan_patient(lesion.patient_id)
    return lesion.patient, Recall.objects.get(patient=lesion.patient, urgency="A").pk


def noted_sign():
    lesion = pictures.lesion()
    return lesion.patient, register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding").pk


def planned_check():
    recall = scene.due_check()
    return recall.patient, recall.pk


def referral():
    patient = build.patient()
    duty = ledger.open_duty("send_referral", patient=patient, opened_from=patient, by=build.nurse())
    steps.settle(duty=duty, by=build.nurse(), revision=1, outcome="sent", whom="the hospital")
    return patient, ledger.open_duties(patient).get().pk


def picture():
    review = pictures.measured(pictures.lesion(), pictures.jpeg(next(_seeds)))
    return review.lesion.patient, review.pk


def ending_care():
    lesion = pictures.lesion()
    register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    patient, by = lesion.patient, build.dermatologist()
    said = {"status": "moved", "on": scene.TODAY, "ground": "her letter"}
    ending.end_care(patient=patient, by=by, revision=patient.revision, **said)
    return patient, ledger.open_duties(patient).get(kind="hand_over").pk


def diagnosis():
    patient = scene.melanoma(scene.TODAY)
    return patient, patient.diagnoses.get().pk


def procedure():
    patient = build.patient()
    said = {"kind": "other", "on": scene.TODAY}
    return patient, pathology.record_procedure(patient=patient, by=build.dermatologist(), **said).pk


def decided(decision, kind):
    """A signature in person on a picture, and the duty that it opened."""
    review = pictures.measured(pictures.lesion(), pictures.jpeg(next(_seeds)))
    said = {"decision": decision, "revision": review.revision, "in_person": True}
    signoff.record(review_id=review.pk, by=build.dermatologist(), **said)
    return review.lesion.patient, ledger.open_duties(review.lesion.patient).get(kind=kind).pk


def referred():
    return decided("refer", "send_referral")


def asked_outside():
    review = pictures.measured(pictures.lesion(), pictures.jpeg(next(_seeds)))
    asked = {"reader": "O. Outside", "place": "Another clinic"}
    outside.ask(review=review, by=build.dermatologist(), **asked)
    return owed(review.lesion.patient, "hear_outside")


def wrong_picture():
    return decided("wrong_subject", "put_picture_right")


def useless_picture():
    return decided("inadequate", "repeat_picture")


# ---- what the desk owes ---------------------------------------------------------------------------


def owed(patient, kind):
    return patient, ledger.open_duties(patient).get(kind=kind).pk


def booked_late():
    recall = scene.due_check()
    scene.booked(recall, scene.at(day=recall.latest + timedelta(days=2)))
    return owed(recall.patient, "rebook")


def booked_on_a_closed_day():
    recall, day = scene.due_check(), scene.TODAY + timedelta(days=next(_days))
    scene.booked(recall, scene.at(day=day))
    bookable.close_day(day=day, reason="training", by=build.nurse())
    return owed(recall.patient, "rebook")


def booked_for_nothing():
    recall = scene.due_check()
    scene.booked(recall, scene.at(day=scene.TODAY + timedelta(days=9)))
    scene.came(recall.patient, scene.TODAY)
    replan.replan_patient(recall.patient_id)
    return owed(recall.patient, "rebook")


def out_of_reach():
    return owed(build.patient(phone=""), "find_a_way")


def tried(outcome, kind, times=1):
    """So many attempts, the last one now."""
    recall = scene.due_check()
    route = {"route": "phone", "address": f"00 {recall.pk}", "by": build.nurse(), "outcome": outcome}
    for hours in range(5 * times - 5, -1, -5):
        contacts.log_attempt(recall=recall, at=clock.now() - timedelta(hours=hours), **route)
    return owed(recall.patient, kind)


def missed_twice():
    recall = scene.due_check()
    for day in (1, 2):
        recall.refresh_from_db()
        starts_at = scene.at(day=scene.TODAY - timedelta(days=3 - day))
        with clock.at(starts_at - timedelta(hours=1)):
            visit = scene.booked(recall, starts_at)
        with clock.at(starts_at + timedelta(hours=1)):
            booking.record_missed(appointment=visit, by=build.nurse(), revision=visit.revision)
    return owed(recall.patient, "decide_what_follows")


def lost_tissue(kind, before=""):
    patient = build.patient()
    cut = {"kind": "biopsy", "on": scene.TODAY}
    pathology.record_procedure(patient=patient, by=build.dermatologist(), **cut)
    for one, outcome in ((before, "sent"), (kind, "none" if kind == "report" else "lost")):
        for duty in ledger.open_duties(patient).filter(kind=one):
            said = {"outcome": outcome, "whom": "the laboratory", "words": "nobody finds it"}
            steps.settle(duty=duty, by=build.dermatologist(), revision=duty.revision, **said)
    return owed(patient, "decide_what_follows")


OF_THE_DESK = {
    "an appointment that is late": (booked_late, "rebook_late"),
    "an appointment on a closed day": (booked_on_a_closed_day, "rebook_closed"),
    "an appointment for what was done meanwhile": (booked_for_nothing, "rebook_finished"),
    "nobody finds a way": (out_of_reach, "find_a_way"),
    "a letter that came back": (partial(tried, "returned", "find_a_way"), "returned"),
    "declined": (partial(tried, "declined", "decide_what_follows"), "declined"),
    "attempts used up": (partial(tried, "no_answer", "decide_what_follows", 3), "attempts_used_up"),
    "missed twice": (missed_twice, "missed_again"),
    "tissue lost at once": (partial(lost_tissue, "send_specimen"), "lost_before_sending"),
    "tissue lost on the way": (partial(lost_tissue, "confirm_specimen", "send_specimen"), "lost_on_the_way"),
    "no report can be had": (partial(lost_tissue, "report"), "no_report"),
}
# An ended record keeps no appointment: as somebody would who changes the status past the program.
DEAD = "UPDATE clinic_patient SET status = 'deceased', status_on = born, status_ground = 'said' WHERE id = %s"


PLANTED = {
    "the sending of a referral is gone": (
        referred, "DELETE FROM clinic_duty WHERE id = %s", "send_referral",
    ),
    "a picture of another lesion is forgotten": (
        wrong_picture, "DELETE FROM clinic_duty WHERE id = %s", "put_picture_right",
    ),
    "a reader outside is forgotten": (
        asked_outside, "DELETE FROM clinic_duty WHERE id = %s", "hear_outside",
    ),
    "the repeat of a picture is forgotten": (
        useless_picture, "DELETE FROM clinic_duty WHERE id = %s", "repeat_picture",
    ),
    "the recall of a signed excision is gone": (
        signed_excision, "DELETE FROM scheduling_recall WHERE id = %s", "do_as_decided",
    ),
    "the recall of a signed excision is called done": (
        signed_excision, "UPDATE scheduling_recall SET state = 'completed', ended_on = opened_on, evidence = 'lesions.procedure:1' WHERE id = %s", "do_as_decided",
    ),
    "a sign is gone": (
        noted_sign, "DELETE FROM lesions_urgentsign WHERE id = %s", "deleted_lesions_urgentsign",
    ),
    "a recall of the plan is gone": (planned_check, "DELETE FROM scheduling_recall WHERE id = %s", "recall"),
    "a recall of the plan is called closed": (
        planned_check,
        "UPDATE scheduling_recall SET state = 'closed', ground = 'superseded', ended_on = opened_on WHERE id = %s",
        "recall",
    ),
    "a recall is called booked": (
        planned_check, "UPDATE scheduling_recall SET state = 'booked' WHERE id = %s", "booked",
    ),
    "a recall ended without a word": (
        planned_check,
        "UPDATE scheduling_recall SET state = 'closed', ground = 'superseded', ended_on = opened_on WHERE id = %s",
        "ended_recall",
    ),
    "the next step of a referral is gone": (
        referral, "DELETE FROM clinic_duty WHERE id = %s", "accept_referral",
    ),
    "a duty ended without a word": (
        referral,
        "UPDATE clinic_duty SET ended_at = opened_at, evidence = 'clinic.step:1' WHERE id = %s",
        "ended_duty",
    ),
    "a review is called signed": (
        picture, "UPDATE lesions_review SET state = 'signed' WHERE id = %s", "decide",
    ),
    "a review is called replaced": (
        picture, "UPDATE lesions_review SET state = 'superseded' WHERE id = %s", "decide",
    ),
    "the handing over is gone": (ending_care, "DELETE FROM clinic_duty WHERE id = %s", "hand_over"),
    "a procedure is gone": (
        procedure, "DELETE FROM lesions_procedure WHERE id = %s", "deleted_lesions_procedure",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OF_THE_DESK)
def test_what_the_desk_loses_is_named_and_nobody_else(name):
    """Ended without a word is lost for these facts too, unless a later entry of somebody may be the word."""
    build_one, code = OF_THE_DESK[name]
    beside, _ = build_one()
    rows = [build_one() for _ in range(MANY)]
    assert lost() == {}
    for loss, named_by in ((GONE, code), (ENDED, "ended_duty" if code in BY_A_STEP else code)):
        found = lost_by(loss, rows)
        assert found[named_by] == {patient.pk for patient, _ in rows}, loss
        assert beside.pk not in set().union(*found.values())
    assert lost() == {}


def lost_by(loss, rows):
    """What the count names after this loss, which is undone again."""
    with transaction.atomic():
        sql(loss, *(key for _, key in rows))
        found = lost()
        transaction.set_rollback(True)
    return found


# A step opened these: that it was followed, however it ended, is what the fact asks; the trail says how it ended.
BY_A_STEP = ("returned", "lost_before_sending", "lost_on_the_way", "no_report")


def test_an_appointment_of_a_record_that_ended_is_named():
    recalls = [scene.due_check() for _ in range(MANY + 1)]
    for recall in recalls:
        scene.booked(recall, scene.at(day=scene.TODAY + timedelta(days=5)))
    assert lost() == {}
    for recall in recalls[1:]:
        said = {"ends_as": "deceased", "on": scene.TODAY, "ground": "said", "at": clock.now()}
        CareEnd.objects.create(patient=recall.patient, by=build.dermatologist(), **said)
    sql(DEAD, *(recall.patient_id for recall in recalls[1:]))
    assert lost()["rebook_ended"] == {recall.patient_id for recall in recalls[1:]}


def test_of_a_visit_that_has_begun_its_outcome_is_owed_and_no_other_day():
    """Found by a random life: whoever was here as a walk-in when the record ended was said to want another day."""
    recall, doctor = scene.due_check(), build.dermatologist()
    booking.walk_in(recalls=[recall], by=build.nurse(), revision=recall.revision)
    patient = Patient.objects.get(pk=recall.patient_id)
    said = {"status": "moved", "on": scene.TODAY, "ground": "her letter"}
    ending.end_care(patient=patient, by=doctor, revision=patient.revision, **said)
    assert lost() == {}


def test_callers_without_a_record_are_named_as_they_gave_their_names():
    duties = [
        unfiled.take(by=build.nurse(), name=f"Caller {number}", number="00", words="it itches")
        for number in range(MANY + 1)
    ]
    assert duty_count.lost_now() == []
    sql(GONE, *(duty.pk for duty in duties[1:]))
    (row,) = (row for row in duty_count.lost_now() if row.code == "file_call")
    assert row.strangers == tuple(f"Caller {number}, 00" for number in range(1, MANY + 1))
    run = whereabouts.count_everybody(scene.TODAY)
    assert not run.holds and "Caller 20, 00" in "; ".join(run.alarms[-1]["strangers"])
    said = AuditRecord.objects.get(action="failsafe.count").details
    assert said["holds"] is False, "the trail says what the kept count says"


@pytest.mark.parametrize("name", PLANTED)
def test_what_is_planted_is_named_and_nobody_else(name, monkeypatch):
    """Twenty of each are lost, and one of the same kind beside them is not."""
    build_one, text, code = PLANTED[name]
    measure_like_the_first(monkeypatch)
    beside, _ = build_one()
    rows = [build_one() for _ in range(MANY)]
    assert lost() == {}
    sql(text, *(key for _, key in rows))
    found = lost()
    assert found[code] == {patient.pk for patient, _ in rows}
    assert beside.pk not in set().union(*found.values())


def test_a_signature_taken_back_is_owed_nowhere():
    lesion, doctor = pictures.lesion(), build.dermatologist()
    signed = signoff.decide_in_person(lesion=lesion, by=doctor, decision="excise")
    replan.replan_patient(lesion.patient_id)
    taking_back.take_back(signed=signed, by=doctor)
    replan.replan_patient(lesion.patient_id)
    assert lost() == {}


def test_a_report_that_becomes_a_melanoma_is_read_before_margins_are_asked():
    """Found by a random life: the count named a patient whose corrected report waited to be read."""
    patient, doctor = build.patient(), build.dermatologist()
    said = {"reported_on": scene.TODAY, "patient": patient, "by": doctor}
    row = pathology.record_diagnosis(code="bcc", **said)
    said = {"why": "a second look", "revision": row.revision, "by": doctor}
    pathology.amend_diagnosis(diagnosis=row, code="melanoma", **said)
    assert lost() == {}
    duty = ledger.open_duties(patient).get(kind="read")
    steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome="read")
    assert lost() == {}
    sql("DELETE FROM clinic_duty WHERE kind = 'margins' AND patient_id = %s", patient.pk)
    assert patient.pk in lost()["what_after_invasive"]


def test_the_nightly_count_says_it_with_names():
    patient, key = planned_check()
    assert whereabouts.count_everybody(scene.TODAY).holds
    sql("DELETE FROM scheduling_recall WHERE id = %s", key)
    run = whereabouts.count_everybody(scene.TODAY)
    assert not run.holds
    assert {"lost_recall", "lost_deleted_scheduling_recall"} <= {alarm["code"] for alarm in run.alarms}
    assert all(alarm["patients"] == [patient.pk] for alarm in FailsafeRun.objects.get().alarms[-2:])


def test_records_that_ended_are_counted_too():
    patient = scene.ended("discharged")
    lesion = pictures.lesion(patient)
    sign = register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    sql("DELETE FROM lesions_urgentsign WHERE id = %s", sign.pk)
    assert patient.pk in lost()["deleted_lesions_urgentsign"]
