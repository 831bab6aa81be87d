"""What follows a procedure is filed under it: two on one day do not answer for each other.

Days are those of the shipped sets (docs/sources.md); what is filed where is this program's own rule, no source.
"""

from datetime import date

import pytest
from django.urls import reverse

from clinic.models import DoneItem, Visit
from clinic.models.visit import ABOUT
from clinic.people import visits
from clinic.people.longer_waits import MakesLonger
from lesions.results import pathology
from scheduling.models import OPEN, PlanProblem, Recall
from scheduling.planning import replan
from scheduling.planning.gather import gather_facts
from scheduling.recalls import overrides
from scheduling.rules.facts import contradictions, facts
from scheduling.rules.ruleset.vocabulary import PURPOSES
from tests import build
from tests.lesions import scene as pictures
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
CUT_ON = date(2026, 6, 10)
FACE, BACK, PALM = "36141000", "66643007", "70887009"


@pytest.fixture
def patient():
    found = build.patient()
    build.risk_assessment(found, by=build.dermatologist(), on=scene.TODAY)
    return found


def cut(patient, site=FACE, kind="excision", on=CUT_ON, **more):
    return pathology.record_procedure(
        patient=patient, by=build.dermatologist(), kind=kind, on=on, site=site, **more
    )


def about(row):
    return f"procedure:{row.pk}"


def open_for(patient, purpose):
    replan.replan_patient(patient.pk)
    rows = Recall.objects.filter(patient=patient, purpose=purpose, state__in=OPEN)
    return {row.subject: row for row in rows}


def told(patient, specimen):
    found = pathology.record_diagnosis(
        patient=patient,
        by=build.dermatologist(),
        code="benign",
        reported_on=date(2026, 6, 15),
        procedure=specimen,
    )
    pictures.tell(found)


def test_a_told_result_leaves_the_other_biopsy_of_that_day_to_be_told(patient):
    first, second = cut(patient, kind="biopsy"), cut(patient, kind="biopsy")
    assert set(open_for(patient, "result_visit")) == {about(first), about(second)}
    told(patient, first)
    assert set(open_for(patient, "result_visit")) == {about(second)}
    done = Recall.objects.get(subject=about(first), purpose="result_visit")
    assert (done.state, Recall.objects.filter(state="completed").count()) == ("completed", 1)


def test_sutures_that_came_out_of_the_face_leave_those_of_the_back(patient):
    face, back = cut(patient), cut(patient, BACK)
    rows = open_for(patient, "suture_removal")
    # docs/sources.md, "Removal of sutures": face 3 to 5 days (both tables); back 12 to 14 (Trott), trunk 10 to 14 (5MC)
    assert (rows[about(face)].latest, rows[about(back)].latest) == (date(2026, 6, 15), date(2026, 6, 24))
    scene.came(patient, date(2026, 6, 15), ("suture_removal", about(face)))
    assert set(open_for(patient, "suture_removal")) == {about(back)}


def test_a_site_without_a_published_row_is_asked_about_until_somebody_says(patient):
    palm = cut(patient, PALM)
    cut(patient)
    replan.replan_patient(patient.pk)
    asked = PlanProblem.objects.filter(patient=patient, code="no_rule", gone_on__isnull=True)
    assert [row.subject for row in asked] == [about(palm)]
    pathology.note_sutures(procedure=palm, by=build.dermatologist(), revision=palm.revision, sutures=False)
    replan.replan_patient(patient.pk)
    assert not asked.all().exists()
    assert len(open_for(patient, "suture_removal")) == 1


def test_a_day_set_for_one_procedure_leaves_the_other_its_own(patient):
    palm, face = cut(patient, PALM), cut(patient)
    day, said = (
        date(2026, 6, 24),
        {"purpose": "suture_removal", "subject": about(palm), "reason": "as closed"},
    )
    patient.refresh_from_db()
    given = said | {"patient": patient, "by": build.dermatologist(), "revision": patient.facts_revision}
    overrides.set_date(date=day, **given)
    rows = open_for(patient, "suture_removal")
    assert (rows[about(palm)].target, rows[about(face)].target) == (day, date(2026, 6, 15))


def test_another_patients_procedure_is_nobodys_subject(patient):
    stranger = cut(build.patient())
    patient.refresh_from_db()
    given = {"patient": patient, "by": build.dermatologist(), "revision": patient.facts_revision}
    with pytest.raises(overrides.OverrideRefused, match="nothing on this patient"):
        overrides.set_date(
            date=scene.TODAY, purpose="suture_removal", subject=about(stranger), reason="r", **given
        )


@pytest.mark.parametrize(
    "item",
    [
        ("suture_removal", "lesion:1"),
        ("full_skin_check", "procedure:1"),
        ("node_examination", "procedure:1"),
        ("lesion_image", "patient"),
    ],
)
def test_an_item_about_the_wrong_thing_completes_nothing_and_is_refused(patient, item):
    with pytest.raises(ValueError, match="is done for a"):
        visits.record(patient=patient, by=build.nurse(), attended_on=scene.TODAY, done=[item])
    assert not Visit.objects.exists()


def test_visits_and_the_core_agree_what_each_purpose_is_about():
    assert {purpose.value: kind for purpose, kind in ABOUT.items()} == {
        purpose: contradictions.subject_of(purpose) for purpose in PURPOSES
    }


def _assess(someone, **answers):
    """A lower tier is signed for once both days were looked at."""
    try:
        build.risk_assessment(someone, **answers)
    except MakesLonger as asked:
        build.risk_assessment(someone, **answers, signed=asked.signature)


@pytest.mark.parametrize("first", ["average", "above_average", "high"])
@pytest.mark.parametrize("second", ["average", "above_average", "high"])
def test_rows_and_the_core_agree_since_when_a_tier_stands(first, second):
    answers = {"average": {}, "above_average": {"blue_eyes": True}, "high": {"red_hair": True}}
    someone, days = build.patient(), (date(2024, 6, 1), date(2025, 6, 1))
    for tier, day in zip((first, second), days, strict=True):
        _assess(someone, on=day, **answers[tier])
    expected = facts.Risk(first, days[0], days[0], transplant=False).followed_by(second, days[1])
    assert gather_facts(someone).patient.risk == expected


def test_the_pages_name_which_procedure_is_meant(patient, signed_in):
    palm, face = cut(patient, PALM), cut(patient)
    replan.replan_patient(patient.pk)
    page = read(signed_in.get(reverse("clinic:patient", args=[patient.pk])))
    assert "Removal of sutures: excision of 10 Jun 2026, cheek" in page
    assert "Excision of 10 Jun 2026, palm" in page and "come out at its site" in page
    assert page.leads_to(reverse("lesions:sutures", args=[palm.pk])) and "Set the day" in page
    day = (
        reverse("scheduling:set_override", args=[patient.pk]) + f"?for=suture_removal%7Cprocedure%3A{palm.pk}"
    )
    assert page.leads_to(day)
    assert "Removal of sutures: excision of 10 Jun 2026, palm" in read(signed_in.get(day))
    form = read(signed_in.get(reverse("clinic:record_visit", args=[patient.pk])))
    for row in (palm, face):
        assert f"suture_removal|{about(row)}" in form.offered("done")
    assert "suture_removal|patient" not in form.offered("done")


def test_an_old_procedure_can_be_ticked_only_while_its_duty_is_open(patient, signed_in):
    day = date(2025, 6, 10)
    by = build.dermatologist()
    old = pathology.record_procedure(patient=patient, by=by, kind="biopsy", on=day)
    form = reverse("clinic:record_visit", args=[patient.pk])
    assert f"result_visit|{about(old)}" not in read(signed_in.get(form)).offered("done")
    replan.replan_patient(patient.pk)
    assert f"result_visit|{about(old)}" in read(signed_in.get(form)).offered("done")


# -- rows from before procedures had duties of their own --------------------------------------------


def test_what_was_done_for_no_procedure_on_record_finishes_none(patient):
    visit = scene.came(patient, date(2026, 6, 1))
    DoneItem.objects.create(visit=visit, purpose="suture_removal", subject="patient")
    cut(patient, on=date(2026, 5, 30))
    known = gather_facts(patient)
    assert ("suture_removal", "patient") in {(row.purpose, row.subject) for row in known.done}
    assert facts.parse(facts.to_json(known)) == known
    assert len(open_for(patient, "suture_removal")) == 1


# -- what was cut or found elsewhere ------------------------------------------------------------------


@pytest.mark.parametrize("purpose", ["suture_removal", "node_examination"])
def test_a_day_for_something_done_elsewhere_is_planned_booked_and_done(patient, signed_in, purpose):
    patient.refresh_from_db()
    url = reverse("scheduling:set_override", args=[patient.pk])
    assert f"{purpose}|patient" in read(signed_in.get(url)).offered("what")
    given = {"patient": patient, "by": build.dermatologist(), "revision": patient.facts_revision}
    overrides.set_date(date=scene.TODAY, purpose=purpose, subject="patient", reason="cut elsewhere", **given)
    recall = scene.open_recall(patient, purpose)
    assert (recall.subject, recall.state) == ("patient", "due")
    form = reverse("clinic:record_visit", args=[patient.pk])
    assert f"{purpose}|patient" in read(signed_in.get(form)).offered("done")
    signed_in.post(form, {"attended_on": str(scene.TODAY), "done": [f"{purpose}|patient"], "note": ""})
    replan.replan_patient(patient.pk)
    recall.refresh_from_db()
    assert recall.state == "completed"
