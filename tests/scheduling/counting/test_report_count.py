"""The count of what is owed for reports, second looks and questions of the plan: what is planted by SQL is named.

Our own rule (common practice, no source): no duty leaves every list without a word in the trail.
"""

from functools import partial
from itertools import count

import pytest

from clinic import clock
from clinic.duties import ledger, steps
from clinic.duties.kinds import KINDS
from lesions.register import register
from lesions.results import pathology
from lesions.review import signoff
from scheduling.counting import duty_count
from scheduling.models import PlanProblem
from scheduling.planning import replan
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene
from tests.scheduling.counting.planting import ENDED, GONE, MANY, lost, measure_like_the_first, sql

pytestmark = pytest.mark.django_db
_seeds = count(6000)


@pytest.fixture(autouse=True)
def _noon(monkeypatch):
    measure_like_the_first(monkeypatch)
    with clock.at(scene.NOON):
        build.rules_in_force()
        yield


def owed(patient, kind):
    return patient, ledger.open_duties(patient).get(kind=kind).pk


def settle(patient, kind, outcome, **said):
    duty = ledger.open_duties(patient).get(kind=kind)
    said = {"words": "as it is", "whom": "her doctor"} | said
    steps.settle(duty=duty, by=build.dermatologist(), revision=duty.revision, outcome=outcome, **said)


def tissue():
    patient = build.patient()
    said = {"kind": "biopsy", "on": scene.TODAY, "patient": patient}
    pathology.record_procedure(by=build.dermatologist(), **said)
    return owed(patient, "send_specimen")


def corrected(kind):
    patient, doctor = build.patient(), build.dermatologist()
    row = pathology.record_diagnosis(
        code="melanoma_in_situ", reported_on=scene.TODAY, patient=patient, by=doctor
    )
    said = {"why": "a second look", "revision": row.revision, "by": doctor}
    pathology.amend_diagnosis(diagnosis=row, code="bcc", **said)
    if kind == "tell":
        settle(patient, "read", "read")
    return owed(patient, kind)


def unstaged():
    return owed(scene.melanoma(scene.TODAY, thickness=""), "complete")


def benign_after_a_sign():
    lesion, doctor = pictures.lesion(), build.dermatologist()
    with scene.later(days=-3):
        register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    said = {"code": "benign", "reported_on": scene.TODAY, "lesion": lesion}
    pathology.record_diagnosis(patient=lesion.patient, by=doctor, **said)
    return owed(lesion.patient, "agree")


def they_disagree():
    patient, _ = benign_after_a_sign()
    settle(patient, "agree", "disagree")
    return owed(patient, "decide_what_follows")


def silent_referrer():
    patient = build.patient()
    ledger.open_duty("ask_referrer", patient=patient, opened_from=patient, by=build.nurse())
    settle(patient, "ask_referrer", "no_answer")
    return owed(patient, "decide_what_follows")


def asked_again():
    review = pictures.measured(pictures.lesion(), pictures.jpeg(next(_seeds)))
    said = {"decision": "second_reading", "revision": review.revision, "in_person": True}
    signoff.record(review_id=review.pk, by=build.dermatologist(), **said)
    return review.lesion.patient, review.lesion.reviews.get(state="waiting").pk


def question():
    patient = scene.melanoma(scene.TODAY, thickness="")
    replan.replan_patient(patient.pk)
    return patient, PlanProblem.objects.filter(patient=patient, gone_on=None).first().pk


SIGNED = "UPDATE lesions_review SET state = 'signed' WHERE id = %s"
PLANTED = {
    "the sending of a specimen": (tissue, GONE, "send_specimen"),
    "the reading of a corrected report": (partial(corrected, "read"), GONE, "read_corrected"),
    "the telling of a corrected report": (partial(corrected, "tell"), GONE, "tell_what_was_read"),
    "what is wanting of a diagnosis": (unstaged, GONE, "complete"),
    "what is wanting, called done": (unstaged, ENDED, "complete"),
    "whether picture and report agree": (benign_after_a_sign, GONE, "agree"),
    "what follows where they do not": (they_disagree, GONE, "they_disagree"),
    "what follows a silent referrer": (silent_referrer, GONE, "referrer_is_silent"),
    "a second reading, called signed": (asked_again, SIGNED, "second_reading"),
    "a question of the plan": (question, "DELETE FROM scheduling_planproblem WHERE id = %s", "what_follows"),
    "a question of the plan, called gone": (
        question,
        "UPDATE scheduling_planproblem SET gone_on = since WHERE id = %s",
        "what_follows",
    ),
}


@pytest.mark.parametrize("name", PLANTED)
def test_what_is_planted_is_named_and_nobody_else(name):
    build_one, text, code = PLANTED[name]
    beside, _ = build_one()
    rows = [build_one() for _ in range(MANY)]
    assert lost() == {}
    sql(text, *(key for _, key in rows))
    found = lost()
    assert found[code] == {patient.pk for patient, _ in rows}
    assert beside.pk not in set().union(*found.values())


# A kind whose facts have other names, or whose own row is the fact and cannot be deleted unseen.
COUNTED_AS = {
    "answer": "deleted_clinic_proposal",
    "report": "report",
    "read": "read_corrected",
    "margins": "what_after_invasive",
    "node": "what_after_invasive",
    "meeting": "what_after_invasive",
    "decide_what_follows": "declined",
    "rebook": "rebook_late",
    "outcome": "deleted_scheduling_appointment",
    "file_upload": "deleted_lesions_refusedupload",
    "same_person": "deleted_clinic_likelypair",
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_duty_is_counted(kind):
    assert COUNTED_AS.get(kind, kind) in {row.code for row in duty_count.count_duties()}


def test_the_page_names_what_is_lost_first_and_folds_what_nobody_is_owed(client):
    tissue()
    patient, key = question()
    sql("DELETE FROM scheduling_planproblem WHERE id = %s", key)
    client.force_login(build.manager())
    answer = client.get("/missed/owed/")
    first, *others = (row.code for row, *_ in answer.context["rows"])
    assert first == "what_follows" and "send_specimen" in others
    assert all(row.owed == 0 for row in answer.context["empty"])
    assert len(answer.context["rows"]) + len(answer.context["empty"]) == len(duty_count.count_duties())
    assert patient.number in answer.content.decode()
