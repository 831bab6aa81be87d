"""The count of duties: what is planted by direct SQL is named, and nothing is invented. Our own rule (common practice,
no source): no duty leaves every list without a word in the trail."""

from itertools import count

import pytest
from django.db import connection

from clinic import clock
from clinic.duties import ledger, steps
from clinic.people import ending
from clinic.trail import triggers
from lesions.register import register
from lesions.review import pathology, signoff, taking_back
from scheduling.models import FailsafeRun, Recall
from scheduling.planning import replan
from scheduling.recalls import duty_count, whereabouts
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene

pytestmark = pytest.mark.django_db
MANY = 20
_seeds = count(5000)


@pytest.fixture(autouse=True)
def _noon():
    with clock.at(scene.NOON):
        build.rules_in_force()
        yield


def sql(text, *values):
    """As somebody with the password of the database would, past every guard of the program."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA ignore_check_constraints = ON")
        for table in triggers.tables():
            for verb in ("update", "delete"):
                on = "" if connection.vendor == "sqlite" else f" ON {table}"
                cursor.execute(f"DROP TRIGGER IF EXISTS {triggers.name(table, verb)}{on}")
        cursor.execute(text, values)
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA ignore_check_constraints = OFF")


def lost():
    return {row.code: set(row.lost) for row in duty_count.lost_now()}


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


def wrong_picture():
    return decided("wrong_subject", "put_picture_right")


def useless_picture():
    return decided("inadequate", "repeat_picture")


PLANTED = {
    "the sending of a referral is gone": (
        referred, "DELETE FROM clinic_duty WHERE id = %s", "send_referral",
    ),
    "a picture of another lesion is forgotten": (
        wrong_picture, "DELETE FROM clinic_duty WHERE id = %s", "put_picture_right",
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


@pytest.mark.parametrize("name", PLANTED)
def test_what_is_planted_is_named_and_nobody_else(name):
    """Twenty of each are lost, and one of the same kind beside them is not."""
    build_one, text, code = PLANTED[name]
    many = 3 if build_one in (picture, referred, wrong_picture, useless_picture) else MANY
    beside, _ = build_one()
    rows = [build_one() for _ in range(many)]
    assert lost() == {}
    for _, key in rows:
        sql(text, key)
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
