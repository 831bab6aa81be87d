"""The conservation law: docs/domain.md "Where everybody is", computed by plain SQL that shares no code with the lists."""

import ast
from datetime import date, timedelta
from pathlib import Path

import pytest

from clinic.duties import ledger, steps
from clinic.models import Patient, RiskAssessment
from clinic.people import ending
from lesions.register import register as lesions
from lesions.results import pathology
from scheduling.counting import whereabouts
from scheduling.desk import booking
from scheduling.models import OPEN, FailsafeRun, Recall
from scheduling.planning import replan
from scheduling.recalls import closing, discharge, missed
from scheduling.rules.ruleset import ruleset
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
YEAR_AGO = date(2025, 6, 17)


def place_of(patient):
    return next((name for name in whereabouts.WORDS if patient.pk in whereabouts.patients_in(name)), None)


def planned():
    patient = build.patient()
    build.risk_assessment(patient)
    replan.replan_patient(patient.pk)
    return patient


def waits_for_a_result():
    patient = planned()
    pathology.record_procedure(
        patient=patient, by=build.dermatologist(), kind="biopsy", on=scene.TODAY, sutures=False
    )
    replan.replan_patient(patient.pk)
    return patient


def waits_to_be_told():
    patient = planned()
    pathology.record_diagnosis(
        patient=patient, by=build.dermatologist(), code="benign", reported_on=scene.TODAY
    )
    replan.replan_patient(patient.pk)
    return patient


def has_a_problem():
    patient = build.patient()
    replan.replan_patient(patient.pk)
    return patient


def has_an_appointment(starts_at=None):
    recall = scene.due_check(high=True)
    scene.booked(recall, starts_at)
    return recall.patient


POPULATION = {
    "ended": scene.ended,
    "problem": has_a_problem,
    "overdue": lambda: scene.overdue_check(high=True).patient,
    "clinician": waits_to_be_told,
    "result": waits_for_a_result,
    "open": lambda: scene.due_check(high=True).patient,
    "appointment": has_an_appointment,
    "planned": planned,
}


@pytest.mark.parametrize("place", POPULATION)
def test_everybody_stands_in_the_first_place_that_applies(place):
    assert place_of(POPULATION[place]()) == place


def test_a_past_appointment_without_outcome_is_a_place():
    patient = has_an_appointment()
    with scene.later(hours=4):
        assert place_of(patient) == "no_outcome"


def test_the_counts_add_up_and_the_lists_agree_on_a_mixed_population():
    for make in POPULATION.values():
        make()
        make()
    found = whereabouts.count_now()
    assert found.holds and found.total == found.records == Patient.objects.count() == 16
    assert set(found.counts.values()) == {0, 2}
    assert whereabouts.overdue_now() == {row.patient.pk for row in missed.rows(scene.TODAY)}
    on_the_list = {row.patient_id for row in scene.to_reach()}
    assert set(whereabouts.patients_in("open")) <= on_the_list


def test_a_patient_whose_plan_is_behind_the_facts_is_a_problem_until_then():
    patient = planned()
    build.risk_assessment(patient)
    assert place_of(patient) == "problem"
    replan.replan_patient(patient.pk)
    assert place_of(patient) == "planned"


def test_who_fell_out_of_every_list_stands_nowhere():
    patient = planned()
    Recall.objects.filter(patient=patient).delete()
    found = whereabouts.count_now()
    assert place_of(patient) == "nowhere" and not found.holds and found.total == found.records


def test_whose_picture_is_still_measured_waits_for_a_clinician():
    """Found by a random life: what follows the lesion is asked after the measuring, and nothing else was open."""
    lesion, doctor = pictures.lesion(monitoring="short"), build.dermatologist()
    pictures.file(lesion)
    for ground in ("superseded", "declined"):
        replan.replan_patient(lesion.patient_id)
        recall = Recall.objects.filter(patient=lesion.patient, state__in=OPEN).first()
        closing.close(recall=recall, by=doctor, ground=ground, note="said so", revision=recall.revision)
    replan.replan_patient(lesion.patient_id)
    assert place_of(lesion.patient) == "clinician" and whereabouts.count_now().holds


def test_a_recall_booked_for_nothing_is_found_behind_another_duty():
    recall = scene.due_check(high=True)
    Recall.objects.filter(pk=recall.pk).update(state="booked")
    found = whereabouts.count_now()
    assert place_of(recall.patient) == "planned", "the yearly risk assessment hides it"
    assert [fault.patients for fault in found.faults] == [(recall.patient_id,)] and not found.holds


def test_a_missed_visit_leaves_no_fault():
    recall = scene.due_check(high=True)
    visit = scene.booked(recall)
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=build.nurse(), revision=visit.revision)
        assert whereabouts.count_now().holds and place_of(recall.patient) == "open"


def test_a_merged_record_is_not_counted():
    kept, merged = planned(), planned()
    Patient.objects.filter(pk=merged.pk).update(merged_into=kept)
    assert whereabouts.count_now().records == 1 and place_of(merged) is None


def alarms():
    return {alarm.code: alarm.patients for alarm in whereabouts.count_now().alarms}


@pytest.mark.parametrize(
    ("seen", "alarm"), [(YEAR_AGO, False), (YEAR_AGO - timedelta(days=1), True), (None, True)]
)
def test_melanoma_and_no_full_skin_check_for_a_year(seen, alarm):
    patient = scene.melanoma(date(2024, 1, 10))
    if seen:
        scene.came(patient, seen)
    scene.came(patient, scene.TODAY, ("risk_assessment", "patient"))
    replan.replan_patient(patient.pk)
    assert alarms() == ({"no_check": (patient.pk,)} if alarm else {})


def test_a_melanoma_of_this_year_is_no_alarm_yet():
    scene.check_of(scene.melanoma(YEAR_AGO))
    assert alarms() == {}


def test_a_malignant_result_that_nobody_told():
    patient = scene.check_of(scene.melanoma(date(2026, 5, 1), told=False)).patient
    assert alarms() == {"not_told": (patient.pk,)}


def without_check(patient):
    """By hand in the database: nothing of the program would do it."""
    Recall.objects.filter(patient=patient, purpose="full_skin_check").delete()


def ended_now():
    return whereabouts.count_now().checks_ended.patients


def discharged(patient, rule, of):
    discharge.end_series(
        patient=patient,
        by=build.dermatologist(),
        purpose="full_skin_check",
        subject="patient",
        series=[(rule, of)],
        note="told, agreed",
    )
    replan.replan_patient(patient.pk)


def test_a_melanoma_without_an_open_full_skin_check_is_named():
    """docs/domain.md, "Facts in, plan out", 11: from facts alone, whatever the plan says."""
    patient = scene.due_check().patient
    assert alarms() == {} and ended_now() == ()
    without_check(patient)
    assert alarms() == {"no_open_check": (patient.pk,)}
    whereabouts.count_everybody(scene.TODAY)
    assert FailsafeRun.objects.get().alarms[0]["patients"] == [patient.pk]


@pytest.mark.parametrize(
    ("answers", "tier", "named"),
    [
        ({"gene_carrier": True}, "very_high", True),
        ({"past_melanoma": True}, "high", True),
        ({"family_keratinocyte": True}, "above_average", False),
        ({}, "average", False),
    ],
)
def test_a_tier_of_high_and_above_without_an_open_check_is_named(answers, tier, named):
    patient = build.patient()
    assert build.risk_assessment(patient, **answers).tier == tier
    replan.replan_patient(patient.pk)
    assert alarms() == {}
    without_check(patient)
    assert alarms() == ({"no_open_check": (patient.pk,)} if named else {})


def test_only_the_last_assessment_gives_the_tier():
    patient = build.patient()
    build.risk_assessment(patient, gene_carrier=True)
    build.risk_assessment(patient, on=scene.TODAY - timedelta(days=9))
    RiskAssessment.objects.filter(tier="very_high").update(assessed_on=scene.TODAY - timedelta(days=10))
    assert alarms() == {} and ended_now() == ()


def test_a_discharge_is_a_line_of_its_own():
    patient = scene.due_check().patient
    melanoma = patient.diagnoses.get()
    discharged(patient, "melanoma-invasive", f"diagnosis:{melanoma.pk}")
    assert alarms() == {} and ended_now() == (patient.pk,)
    assert whereabouts.count_everybody(scene.TODAY).checks_ended == [patient.pk]


def test_a_discharge_from_one_melanoma_excuses_no_later_one():
    patient = scene.due_check().patient
    discharged(patient, "melanoma-invasive", f"diagnosis:{patient.diagnoses.get().pk}")
    with scene.later(days=30):
        scene.melanoma(scene.TODAY + timedelta(days=20), patient=patient)
        replan.replan_patient(patient.pk)
        assert alarms() == {} and ended_now() == ()
        without_check(patient)
        assert alarms() == {"no_open_check": (patient.pk,)}


def test_a_discharge_from_the_tier_excuses_no_melanoma():
    patient = scene.due_check(high=True).patient
    discharged(patient, "tier-high", "patient")
    without_check(patient)
    assert alarms() == {"no_open_check": (patient.pk,)}


STATED = "s3-germany"


def followed_by_a_rule_that_ends(until_visit):
    """Stage IA by the German rows: six-monthly for three years, yearly to year ten, then the end; 13 visits."""
    build.policy_in_force("rules", ruleset.shipped(STATED))
    patient = scene.melanoma(date(2016, 1, 15))
    for day in [*CHECKS][:until_visit]:
        scene.came(patient, day)
        replan.replan_patient(patient.pk)
    return patient


# S3 guideline melanoma (AWMF 032-024OL), as scheduling/rulesets/s3-germany.toml restates it: stage IA.
CHECKS = [date(2016 + half // 2, 1 + half % 2 * 6, 15) for half in range(1, 7)]
CHECKS += [date(year, 1, 15) for year in range(2020, 2027)]


def test_a_rule_that_says_end_is_a_line_of_its_own():
    patient = followed_by_a_rule_that_ends(13)
    assert not Recall.objects.filter(patient=patient, purpose="full_skin_check", state="planned").exists()
    assert alarms() == {} and ended_now() == (patient.pk,)


def test_before_its_last_visit_a_rule_has_not_ended():
    patient = followed_by_a_rule_that_ends(12)
    Recall.objects.filter(patient=patient, state__in=("planned", "due")).delete()
    assert ended_now() == () and alarms()["no_open_check"] == (patient.pk,)


def test_an_urgent_sign_is_open_work_at_once():
    patient = planned()
    lesions.note_sign(lesion=scene.mark(patient), by=build.nurse(), sign="bleeding")
    replan.replan_patient(patient.pk)
    assert place_of(patient) == "open"


def test_the_count_of_a_day_is_kept_with_the_time_it_ran():
    planned()
    scene.check_of(scene.melanoma(date(2026, 5, 1), told=False))
    run = whereabouts.count_everybody(scene.TODAY)
    assert (run.records, run.holds, run.ran_at) == (2, True, scene.NOON)
    assert [alarm["code"] for alarm in run.alarms] == ["not_told"]
    whereabouts.count_everybody(scene.TODAY)
    assert FailsafeRun.objects.count() == 1


def test_it_shares_no_code_with_what_it_checks():
    """A check that shares code with what it checks is not a failsafe (docs/domain.md, "Where everybody is").

    The contracts of import-linter keep the topic modules out; of the models the count knows only its own row.
    """
    room = Path(whereabouts.__file__).parent
    trees = [ast.parse(path.read_text()) for path in room.glob("*.py")]
    assert len(trees) == 7
    taken = [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    ours = {node.module for node in taken if node.module.startswith(("scheduling", "lesions", "clinic"))}
    beyond = {name for name in ours if not name.startswith("scheduling.counting")}
    assert beyond == {"clinic", "clinic.trail", "clinic.wording", "scheduling.models"}
    (kept,) = [node for node in taken if node.module == "scheduling.models"]
    assert [alias.name for alias in kept.names] == ["FailsafeRun"]


# ---- a result that is not told, whatever became of the record ------------------------------------


def _alarms():
    return {alarm.code: alarm.patients for alarm in whereabouts.count_now().alarms}


def test_an_untold_malignant_result_is_an_alarm_on_an_ended_record_too(rules):
    patient = scene.melanoma(scene.TODAY, told=False)
    said = {"status": "transferred", "on": scene.TODAY, "ground": "moved to her daughter"}
    ending.end_care(patient=patient, by=build.dermatologist(), revision=patient.revision, **said)
    assert _alarms()["not_told"] == (patient.pk,)


def test_what_cannot_be_told_is_untold_no_more(rules):
    patient = scene.melanoma(scene.TODAY, told=False)
    duty = ledger.open_duties(patient).get(kind="tell")
    said = {"outcome": "cannot", "words": "died before; her son knows"}
    steps.settle(duty=duty, by=build.dermatologist(), revision=duty.revision, **said)
    assert "not_told" not in _alarms()
