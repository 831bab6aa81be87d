"""Whoever stands behind a number of the count stands there with why, since when, and whose it is."""

from datetime import date

import pytest
from django.urls import reverse

from lesions.results import pathology
from scheduling.counting import whereabouts
from scheduling.desk import claims
from scheduling.planning import replan
from tests import build
from tests.lesions import scene as pictures
from tests.page import read
from tests.scheduling import scene
from tests.test_names import named

pytestmark = pytest.mark.usefixtures("rules")


def shown(name):
    return read(build.signed_in(build.manager()).get(reverse("scheduling:place", args=[name])))


def test_overdue_says_why_since_when_and_whose():
    recall = scene.overdue_check(high=True)
    claims.claim(patient=recall.patient, by=build.nurse(name="Ada Quick"))
    page = shown("overdue")
    for words in (
        recall.patient.number,
        "17 May 1960",
        "no bookable hours in its window",
        "29 May 2026",
        "Ada Quick",
    ):
        assert words in page


def test_names_of_owners_are_left_untranslated():
    """Whoever has claimed somebody, and whoever was named to tell a result; a list or a role is the program's word."""
    nurse, teller = build.nurse(name="Ada Quick"), build.nurse(name="Tom Teller")
    for recall in (scene.overdue_check(high=True), scene.due_check(high=True)):
        claims.claim(patient=recall.patient, by=nurse)
    doctor, patient = build.dermatologist(), build.patient()
    build.risk_assessment(patient)
    said = {"code": "bcc", "reported_on": scene.TODAY, "anchor": scene.TODAY, "tells": teller}
    pathology.record_diagnosis(patient=patient, by=doctor, **said)
    replan.replan_patient(patient.pk)
    for name, owner in (("overdue", "Ada Quick"), ("open", "Ada Quick"), ("clinician", "Tom Teller")):
        answer = build.signed_in(build.manager()).get(reverse("scheduling:place", args=[name]))
        page = answer.content.decode()
        assert owner in page and not named(page, {owner}), name


def test_ended_says_the_ground_and_a_problem_its_question():
    gone, asked = build.patient(), build.patient()
    type(gone).objects.filter(pk=gone.pk).update(
        status="moved", status_on=scene.TODAY, status_ground="to the coast"
    )
    replan.replan_patient(asked.pk)
    assert "to the coast" in shown("ended") and "17 Jun 2026" in shown("ended")
    page = shown("problem")
    assert asked.number in page and "Problems" in page and "risk" in page


def test_what_waits_for_a_clinician_or_a_result_is_named():
    lesion = pictures.lesion(monitoring=None)
    build.risk_assessment(lesion.patient)
    pictures.file(lesion)
    replan.replan_patient(lesion.patient_id)
    page = shown("clinician")
    assert "To be measured: lesion 1" in page or "To be decided: lesion 1" in page, page.text
    assert "Decisions" in page


def test_who_is_due_booked_or_planned_is_named_with_what_for():
    due = scene.due_check(high=True)
    assert "Full skin check" in shown("open") and "by 29 Jun 2026" in shown("open")
    scene.booked(due, scene.at(14, day=date(2026, 6, 24)))
    assert "appointment of 24 Jun 2026, 15:00" in shown("appointment")


def test_each_place_of_the_count_can_be_opened():
    scene.due_check()
    for name in whereabouts.WORDS:
        page, number = shown(name), len(whereabouts.patients_in(name))
        assert "Back to the count" in page and f": {number}" in page
    assert {whereabouts.number_in(name) for name in whereabouts.WORDS} == {0, 1}
