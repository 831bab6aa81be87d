"""Recalls follow the plan: docs/interfaces.md "Facts revision", docs/domain.md "Recalls do not close themselves"."""

from datetime import date

import pytest
from django.core.management import call_command
from django.db import transaction
from django.db.models import F

from clinic import clock
from clinic.models import AuditRecord, Patient, Policy, StaleRow
from clinic.people import ending
from lesions.measuring import measure
from lesions.models import Review
from lesions.register import register as lesions
from lesions.results import pathology
from scheduling.models import OPEN, Plan, PlanProblem, Recall
from scheduling.planning import replan, rules_in_force
from scheduling.planning.gather import gather_facts, gather_facts_of_all
from scheduling.planning.plan_writer import PlanWriter
from scheduling.recalls import closing
from scheduling.rules.ruleset import ruleset
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def dates(row):
    return row.earliest, row.target, row.latest


def test_the_first_check_after_melanoma_is_due_three_months_later():
    """Every three months for two years, 14 days either way: the shipped clinic set."""
    recall = scene.due_check()
    assert dates(recall) == (date(2026, 6, 1), date(2026, 6, 15), date(2026, 6, 29))
    assert (recall.state, recall.urgency, recall.number, recall.rule) == ("due", "B", 1, "melanoma-invasive")


def test_planning_twice_changes_nothing():
    recall = scene.due_check()
    before = (AuditRecord.objects.count(), Recall.objects.count(), recall.revision)
    replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    assert (AuditRecord.objects.count(), Recall.objects.count(), recall.revision) == before


def test_nothing_is_planned_before_rules_are_in_force(db):
    Policy.objects.filter(state="in_force").update(state="replaced")
    assert replan.replan_patient(build.patient().pk) is None
    assert replan.patients_to_replan() == []


def test_what_was_done_completes_the_recall_and_opens_the_next():
    recall = scene.due_check()
    visit = scene.came(recall.patient, scene.TODAY)
    following = scene.check_of(recall.patient)
    recall.refresh_from_db()
    assert (recall.state, recall.completed_by) == ("completed", visit.done.get())
    assert (following.number, following.target) == (2, date(2026, 9, 15))


def test_attendance_alone_completes_nothing():
    recall = scene.due_check()
    scene.came(recall.patient, scene.TODAY, ("risk_assessment", "patient"))
    assert scene.check_of(recall.patient).pk == recall.pk


def test_a_picture_completes_the_recall_for_a_picture():
    patient = build.patient()
    build.risk_assessment(patient)
    lesion = scene.mark(patient, monitoring="short", since=date(2026, 3, 15))
    replan.replan_patient(patient.pk)
    recall = Recall.objects.get(subject=f"lesion:{lesion.pk}")
    assert recall.purpose == "lesion_image" and recall.target == date(2026, 6, 15)
    picture = pictures.file(lesion)
    replan.replan_patient(patient.pk)
    recall.refresh_from_db()
    assert (recall.state, recall.evidence) == ("completed", f"lesions.image:{picture.pk}")


def test_an_urgent_sign_is_work_until_a_dermatologist_examined_it():
    """docs/domain.md, "Facts in, plan out" 8."""
    patient = build.patient()
    build.risk_assessment(patient)
    lesion = scene.mark(patient, monitoring="short")
    lesions.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    replan.replan_patient(patient.pk)
    recall = Recall.objects.get(patient=patient, urgency="A")
    assert (recall.state, recall.purpose) == ("due", "lesion_examination")
    lesions.examine_in_person(lesion=lesion, by=build.dermatologist())
    replan.replan_patient(patient.pk)
    recall.refresh_from_db()
    assert (
        recall.state == "completed"
        and recall.evidence == f"lesions.examination:{lesion.examinations.get().pk}"
    )


def test_telling_a_result_completes_the_visit_for_it():
    patient, by = build.patient(), build.dermatologist()
    build.risk_assessment(patient)
    cut = pathology.record_procedure(patient=patient, by=by, kind="biopsy", on=date(2026, 6, 10))
    replan.replan_patient(patient.pk)
    recall = Recall.objects.get(patient=patient, purpose="result_visit")
    found = pathology.record_diagnosis(
        patient=patient, by=by, code="benign", reported_on=date(2026, 6, 15), procedure=cut
    )
    pictures.tell(found, by)
    replan.replan_patient(patient.pk)
    recall.refresh_from_db()
    assert (recall.state, recall.evidence) == ("completed", f"lesions.diagnosis:{found.pk}")


def test_a_second_melanoma_governs_where_its_window_closes_first():
    recall = scene.check_of(scene.melanoma(date(2026, 4, 15)))
    scene.melanoma(date(2026, 3, 20), patient=recall.patient)
    governing = scene.check_of(recall.patient)
    recall.refresh_from_db()
    assert (recall.state, recall.ground, recall.closed_by) == ("closed", "superseded", None)
    assert governing.target == date(2026, 6, 20) and len(governing.reasons) == 2


def test_a_booked_recall_stays_booked_when_its_dates_move():
    recall = scene.check_of(scene.melanoma(date(2026, 4, 15)))
    scene.booked(recall)
    scene.melanoma(date(2026, 3, 20), patient=recall.patient)
    governing = scene.check_of(recall.patient)
    assert (governing.pk, governing.state, governing.target) == (recall.pk, "booked", date(2026, 6, 20))
    assert AuditRecord.objects.filter(action="recall.move", subject=f"scheduling.recall:{recall.pk}").exists()


def test_a_missing_anchor_is_a_problem_until_it_is_known():
    patient, by = build.patient(), build.dermatologist()
    build.risk_assessment(patient)
    found = pathology.record_diagnosis(patient=patient, by=by, code="bcc", reported_on=date(2026, 5, 1))
    replan.replan_patient(patient.pk)
    assert PlanProblem.objects.get(patient=patient).code == "no_anchor"
    # As a correction of the record will do it, one day.
    type(found).objects.filter(pk=found.pk).update(anchor=date(2026, 5, 1))
    replan.replan_patient(patient.pk)
    assert PlanProblem.objects.get(patient=patient).gone_on == scene.TODAY


def test_end_of_care_drops_what_was_planned_and_its_undoing_brings_it_back():
    recall = scene.due_check()
    patient = recall.patient
    fields = {"status": "deceased", "on": scene.TODAY, "ground": "the family rang"}
    ending.end_care(patient=patient, by=build.dermatologist(), revision=patient.revision, **fields)
    replan.replan_patient(patient.pk)
    assert not Recall.objects.filter(patient=patient, state__in=OPEN).exists()
    ending.resume_care(patient=patient, by=build.dermatologist(), revision=patient.revision)
    assert dates(scene.check_of(patient)) == dates(recall)


def test_a_plan_is_stale_in_facts_rules_or_time():
    patient = scene.due_check().patient
    assert replan.patients_to_replan() == []
    build.risk_assessment(patient)
    assert replan.patients_to_replan() == [patient.pk]
    replan.replan_patient(patient.pk)
    build.rules_in_force()
    assert replan.patients_to_replan() == [patient.pk]
    replan.replan_patient(patient.pk)
    Plan.objects.update(valid_until=build.days_ago(1))
    assert replan.patients_to_replan() == [patient.pk]


def test_facts_that_move_while_the_plan_is_made_are_planned_again(monkeypatch):
    patient = scene.due_check().patient
    real, calls = replan.gather_facts_of_all, []

    def gather_and_be_overtaken(who):
        known = real(who)
        if not calls:
            scene.came(patient, scene.TODAY)
        calls.append(who)
        return known

    monkeypatch.setattr(replan, "gather_facts_of_all", gather_and_be_overtaken)
    replan.replan_patient(patient.pk)
    assert len(calls) == 2
    assert replan.patients_to_replan() == [] and Recall.objects.filter(state="completed").count() == 1


def overtaken(monkeypatch, act):
    """`act` once, after facts and rules of a portion were read and before anything is written."""
    real, done = replan.gather_facts_of_all, []

    def gather_and_be_overtaken(who):
        known = real(who)
        if not done:
            done.append(act())
        return known

    monkeypatch.setattr(replan, "gather_facts_of_all", gather_and_be_overtaken)


def test_facts_that_move_after_a_portion_was_read_are_read_again(monkeypatch):
    first, second = scene.due_check().patient, scene.due_check().patient
    overtaken(monkeypatch, lambda: scene.came(second, scene.TODAY))
    assert replan.replan_many([first.pk, second.pk]) == {first.pk, second.pk}
    assert replan.patients_to_replan() == []
    assert [row.patient for row in Recall.objects.filter(state="completed")] == [second]


def test_rules_that_change_after_a_portion_was_read_are_read_again(monkeypatch):
    first, second = scene.due_check().patient, scene.due_check().patient
    made = []
    overtaken(monkeypatch, lambda: made.append(build.rules_in_force()))
    assert replan.replan_many([first.pk, second.pk]) == {first.pk, second.pk}
    assert replan.patients_to_replan() == []
    assert set(Recall.objects.filter(state__in=OPEN).values_list("policy", flat=True)) == {made[0].pk}


def test_one_conflict_leaves_the_others_of_its_portion_planned(monkeypatch):
    """A row that somebody changed in between takes the portion back; everybody is then planned alone."""
    patients = [scene.due_check().patient for _ in range(3)]
    newer = scene.due_check().patient
    real, calls = PlanWriter.write, []

    def stale_once(self):
        calls.append(len(self.answers))
        if len(calls) == 1:
            real(self)
            raise StaleRow(newer)
        return real(self)

    monkeypatch.setattr(PlanWriter, "write", stale_once)
    Patient.objects.update(facts_revision=F("facts_revision") + 1)
    keys = [patient.pk for patient in patients]
    assert replan.replan_many(keys) == set(keys)
    assert calls == [3, 1, 1, 1] and replan.patients_to_replan() == [newer.pk]


def test_a_portion_writes_what_each_alone_would_have_written():
    """Two people with the same facts, one planned alone and one in a portion: same recalls, same records."""
    alone, others = build.patient(), [build.patient() for _ in range(3)]
    for patient in (alone, *others):
        build.risk_assessment(patient, red_hair=True)
        scene.mark(patient, monitoring="long", since=clock.today())
    replan.replan_patient(alone.pk)
    replan.replan_many([patient.pk for patient in others])
    replan.replan_many([patient.pk for patient in others])
    for patient in others:
        assert written(patient) == written(alone)


def written(patient):
    recalls = Recall.objects.filter(patient=patient).order_by("purpose", "latest")
    actions = AuditRecord.objects.filter(patient=patient, by=None).order_by("pk")
    fields = ("purpose", "rule", "number", "earliest", "target", "latest", "state", "urgency")
    return list(recalls.values_list(*fields)), sorted(actions.values_list("action", flat=True))


def test_ten_patients_cost_few_queries_more_than_one(django_assert_max_num_queries):
    keys = [scene.due_check().patient.pk for _ in range(10)]
    Patient.objects.update(facts_revision=F("facts_revision") + 1)
    with django_assert_max_num_queries(30):
        replan.replan_many(keys)


def test_a_plan_that_changes_nothing_costs_few_queries_for_many_recalls(django_assert_max_num_queries):
    """Lock, recalls, problems, plan, audit record; the rules once for all recalls."""
    patient = scene.due_check().patient
    for _ in range(3):
        scene.mark(patient, monitoring="long", since=clock.today())
    replan.replan_patient(patient.pk)
    assert Recall.objects.filter(patient=patient, state__in=OPEN).count() >= 4
    Patient.objects.filter(pk=patient.pk).update(facts_revision=F("facts_revision") + 1)
    writer = replan._ask([patient.pk])
    with django_assert_max_num_queries(10), transaction.atomic():
        writer.write()


def test_many_are_gathered_in_no_more_queries_and_each_gets_its_own(django_assert_max_num_queries):
    patients = [scene.due_check().patient for _ in range(3)]
    scene.came(patients[1], scene.TODAY)
    with django_assert_max_num_queries(11):
        known = gather_facts_of_all(patients)
    assert known == {patient.pk: gather_facts(patient) for patient in patients}
    assert [len(known[patient.pk].done) for patient in patients] == [0, 1, 0]


@pytest.mark.parametrize(("days", "state"), [(29, "planned"), (28, "due")])
def test_surveillance_comes_on_the_list_four_weeks_ahead(days, state):
    """The length of the ladder for urgency B: clinic setting, no source."""
    recall = scene.check_of(scene.melanoma(date(2026, 5, 15)))
    assert recall.state == "planned"
    with clock.at(scene.at(5, day=date.fromordinal(recall.earliest.toordinal() - days))):
        closing.become_due(clock.today())
    recall.refresh_from_db()
    assert recall.state == state


def test_facts_are_gathered_in_few_queries(django_assert_max_num_queries):
    patient = scene.due_check().patient
    for _ in range(3):
        lesions.note_sign(lesion=scene.mark(patient), by=build.nurse(), sign="new")
    with django_assert_max_num_queries(11):
        gather_facts(patient)


def test_a_lesion_before_a_dermatologist_is_no_second_question():
    """The last picture of a short watch waits for a decision: the question “what follows” is that decision."""
    patient = build.patient()
    build.risk_assessment(patient)
    lesion = pictures.lesion(patient, monitoring="short", since=build.days_ago(100))
    picture = pictures.file(lesion)
    replan.replan_patient(patient.pk)
    assert open_problems(patient) == []
    measure.measure_picture(picture.assessments.get().pk)
    replan.replan_patient(patient.pk)
    assert open_problems(patient) == []
    Review.objects.filter(lesion=lesion).update(state="superseded")
    Plan.objects.filter(patient=patient).delete()
    replan.replan_patient(patient.pk)
    assert open_problems(patient) == [("what_follows", f"lesion:{lesion.pk}")]


def open_problems(patient):
    return list(PlanProblem.objects.filter(patient=patient, gone_on=None).values_list("code", "subject"))


def test_assessing_the_same_risk_again_puts_no_check_off():
    """Nobody is forgotten by being assessed: only a check that was done moves the next one."""
    patient = build.patient()
    build.risk_assessment(patient, on=build.days_ago(400), red_hair=True)
    check = scene.check_of(patient)
    window = dates(check)
    build.risk_assessment(patient, on=build.days_ago(1), red_hair=True)
    again = scene.check_of(patient)
    assert (again.pk, dates(again)) == (check.pk, window)
    scene.came(patient, clock.today())
    following = scene.check_of(patient)
    assert following.pk != check.pk and following.earliest > clock.today()


def test_an_upgrade_of_the_program_changes_no_interval(monkeypatch):
    """docs/domain.md, point 7: files are templates; what is in force is the text that two people approved."""
    recall = scene.due_check()
    before = dates(recall)
    newer = ruleset.shipped("default").replace('every = "P3M", for = "P2Y"', 'every = "P6M", for = "P2Y"')
    monkeypatch.setattr(ruleset, "shipped", lambda name: newer)
    call_command("migrate", verbosity=0)
    rules_in_force._loaded.cache_clear()
    Plan.objects.update(valid_until=build.days_ago(1))
    for patient_id in replan.patients_to_replan():
        replan.replan_patient(patient_id)
    recall.refresh_from_db()
    assert dates(recall) == before
    assert "P6M" in newer and Policy.objects.get(kind="rules", state="in_force").toml != newer
