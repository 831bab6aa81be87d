"""A discharge ends the series that it names and no other (docs/domain.md, point 11); what follows is answered on a page."""

from datetime import date

import pytest
from django.urls import reverse

from clinic import clock
from clinic.access import NotAllowed
from scheduling.models import Override, PlanProblem, Recall, SeriesEnd
from scheduling.planning import replan
from scheduling.planning.gather import gather_facts
from scheduling.problem_links import link_of
from scheduling.recalls import discharge, what_follows
from scheduling.recalls.closing import RecallRefused
from scheduling.rules.plan.messages import PROBLEMS
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def open_rules(patient):
    replan.replan_patient(patient.pk)
    rows = Recall.objects.filter(
        patient=patient, purpose="full_skin_check", state__in=("planned", "due", "booked")
    )
    return [row.rule for row in rows]


def sign_in(client, member):
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")


def closing_form(recall, **more):
    return {"revision": recall.revision, "ground": "discharge", "note": "settled with the patient"} | more


def test_discharge_from_the_melanoma_leaves_the_checks_of_the_tier(client):
    recall = scene.due_check(high=True)
    patient, tumour = recall.patient, recall.patient.diagnoses.get()
    sign_in(client, build.dermatologist())
    series = [f"melanoma-invasive|diagnosis:{tumour.pk}"]
    client.post(reverse("scheduling:close", args=[recall.pk]), closing_form(recall, series=series))
    assert open_rules(patient) == ["tier-high"]
    (row,) = SeriesEnd.objects.all()
    assert (row.rule, row.of, row.ground_note) == (*series[0].split("|"), "settled with the patient")


def test_discharge_from_the_tier_leaves_the_checks_after_the_melanoma(client):
    recall = scene.due_check(high=True)
    sign_in(client, build.dermatologist())
    client.post(
        reverse("scheduling:close", args=[recall.pk]), closing_form(recall, series=["tier-high|patient"])
    )
    assert open_rules(recall.patient) == ["melanoma-invasive"]


def test_a_discharge_that_names_no_series_is_asked_which(client):
    recall = scene.due_check()
    sign_in(client, build.dermatologist())
    answer = client.post(reverse("scheduling:close", args=[recall.pk]), closing_form(recall))
    shown = read(answer)
    assert answer.status_code == 422 and "Say which checks this discharge ends." in shown
    assert "Melanoma excised 15 Mar 2026" in shown and not SeriesEnd.objects.exists()


def test_only_a_dermatologist_discharges_and_never_without_a_ground():
    recall = scene.due_check()
    about = {"patient": recall.patient, "purpose": "full_skin_check", "subject": "patient"}
    key = [(recall.rule, recall.of)]
    with pytest.raises(NotAllowed):
        discharge.end_series(**about, by=build.nurse(), series=key, note="said so")
    for series, note in ((key, "  "), ([], "settled")):
        with pytest.raises(RecallRefused):
            discharge.end_series(**about, by=build.dermatologist(), series=series, note=note)
    assert not SeriesEnd.objects.exists()


# -- what follows ----------------------------------------------------------------------------------


def asked():
    """The two years after the melanoma of 2024-07-15 end on 2026-07-15: within three months somebody is asked."""
    patient = scene.melanoma(date(2024, 7, 15), high=True)
    scene.came(patient, date(2026, 5, 1))
    replan.replan_patient(patient.pk)
    return PlanProblem.objects.get(patient=patient, code="what_follows", gone_on=None)


def answered(problem, answer, **more):
    problem.patient.refresh_from_db()
    given = {"problem": problem, "by": build.dermatologist(), "answer": answer, "reason": "agreed with her"}
    return what_follows.answer_what_follows(**given | {"revision": problem.patient.facts_revision} | more)


def test_going_on_as_before_is_an_interval_with_an_end():
    problem = asked()
    row = answered(problem, "go_on", until=date(2027, 7, 15), accepted=True)
    assert (row.interval, row.until) == ("P3M", date(2027, 7, 15))
    replan.replan_patient(problem.patient_id)
    problem.refresh_from_db()
    assert problem.gone_on is None or gather_facts(problem.patient).overrides


def test_an_answer_without_an_end_is_refused():
    with pytest.raises(RecallRefused, match="until when"):
        answered(asked(), "go_on")
    assert not Override.objects.exists()


def test_a_discharge_answers_and_leaves_the_tier():
    problem = asked()
    answered(problem, "discharge")
    assert open_rules(problem.patient) == ["tier-high"]
    problem.refresh_from_db()
    assert problem.gone_on == clock.today()


def test_the_page_offers_the_three_answers_and_writes_one(client):
    problem = asked()
    sign_in(client, build.dermatologist())
    url = link_of(problem)
    assert url == reverse("scheduling:answer_problem", args=[problem.pk])
    shown = read(client.get(url))
    assert "Go on as before, every 3 months" in shown and "Discharge from these checks" in shown
    problem.patient.refresh_from_db()
    form = {"choice": "interval", "unit": "M", "until": "2027-07-15", "reason": "agreed"}
    form["revision"] = problem.patient.facts_revision
    assert client.post(url, form).status_code == 422
    answer = client.post(url, form | {"every": 3, "accepted": "on"})
    assert answer.status_code == 302 and Override.objects.get().interval == "P3M"


@pytest.mark.parametrize("code", sorted(PROBLEMS))
@pytest.mark.parametrize("kind", ["patient", "lesion", "diagnosis", "procedure"])
def test_every_problem_has_a_page_that_mends_it(client, code, kind):
    patient = scene.melanoma(date(2026, 3, 15))
    lesion = scene.mark(patient)
    keys = {"lesion": lesion.pk, "diagnosis": patient.diagnoses.get().pk, "procedure": 999}
    subject = "patient" if kind == "patient" else f"{kind}:{keys[kind]}"
    row = PlanProblem(patient=patient, code=code, subject=subject, text="asked", since=clock.today())
    sign_in(client, build.dermatologist())
    assert client.get(link_of(row)).status_code == 200
