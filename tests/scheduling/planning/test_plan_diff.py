"""`manage.py replan`: what it says before is what it does, and the second time there is nothing left to do.

Three months after an excision, two weeks early or late: the shipped set (docs/sources.md, `melanoma-invasive`).
"""

import re
from datetime import date
from io import StringIO

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.core.serializers.json import DjangoJSONEncoder

from clinic.models import AuditRecord, Policy
from lesions.register import register
from lesions.results import pathology
from scheduling.models import DeskLine, PlanProblem, Recall
from scheduling.planning import replan
from scheduling.planning.wording import problem_words
from scheduling.rules.ruleset import ruleset
from tests import build
from tests.scheduling import scene
from tests.scheduling.rule_changes.test_preview import FIRST

pytestmark = pytest.mark.usefixtures("rules")


def run(*arguments):
    out = StringIO()
    call_command("replan", *arguments, stdout=out)
    return out.getvalue()


def every_row():
    """All that the database holds, table by table."""
    encode = DjangoJSONEncoder(sort_keys=True).encode
    return {
        model._meta.label: sorted(encode(row) for row in model.objects.values())
        for model in apps.get_models()
        if model._meta.managed
    }


def differences(said):
    return re.findall(r"^  (.+)$", said, re.M)


@pytest.fixture
def clinic():
    """One whose facts changed, one under a question, one without a plan, and longer intervals for all."""
    came, asked, fresh = scene.due_check(), scene.overdue_check(), scene.melanoma(scene.TODAY)
    scene.came(came.patient, scene.TODAY)
    build.risk_assessment(asked.patient)
    text = ruleset.shipped("default").replace(FIRST, FIRST.replace("P3M", "P6M"))
    build.policy_in_force("rules", text)
    return came, asked, fresh


def test_a_dry_run_leaves_the_database_alone(clinic):
    before = every_row()
    said = run("--dry-run")
    assert every_row() == before
    assert differences(said) and "Nothing was written" in said and replan.patients_to_replan() != []


def test_the_real_run_makes_exactly_what_the_dry_run_said(clinic):
    foretold = differences(run("--dry-run"))
    assert differences(run()) == foretold
    assert differences(run("--dry-run")) == differences(run("--all", "--dry-run")) == differences(run()) == []
    assert replan.patients_to_replan() == []


def test_the_dates_that_are_said_are_those_that_stand(clinic):
    """Excised 15 Feb 2026: three months from then was 15 May, six months are 15 Aug (calendar)."""
    _, late, fresh = clinic
    said = run()
    moved = (
        "1 May 2026 to 29 May 2026, target 15 May 2026 becomes 1 Aug 2026 to 29 Aug 2026, target 15 Aug 2026"
    )
    assert f"due moved: full skin check, number 1, {moved}" in said
    late.refresh_from_db()
    assert str(late.target) == "2026-08-15"
    added = Recall.objects.filter(patient=fresh, state__in=("planned", "due"))
    assert said.count("due added") >= added.count() >= 1


def test_a_duty_that_was_done_gives_way_to_the_next():
    """Three months later, as every rule set of the clinic counts from the excision on 15 March."""
    recall = scene.due_check()
    scene.came(recall.patient, scene.TODAY)
    said = run()
    assert "due done: full skin check, number 1, 1 Jun 2026 to 29 Jun 2026" in said
    assert "due added: full skin check, number 2, 1 Sep 2026 to 29 Sep 2026, target 15 Sep 2026" in said


def test_a_duty_that_another_rule_takes_over_has_moved():
    """A second melanoma governs from its own excision, 20 March: three months, 20 June."""
    recall = scene.check_of(scene.melanoma(date(2026, 4, 15)))
    scene.melanoma(date(2026, 3, 20), patient=recall.patient)
    said = run()
    windows = (
        "1 Jul 2026 to 29 Jul 2026, target 15 Jul 2026 becomes 6 Jun 2026 to 4 Jul 2026, target 20 Jun 2026"
    )
    assert f"due moved: full skin check, number 1, {windows}" in said
    assert "due dropped" not in said and "due added" not in said


def test_a_duty_that_nobody_asks_for_any_more_is_dropped():
    mark = scene.mark(build.patient(), monitoring="short")
    replan.replan_patient(mark.patient_id)
    mark.refresh_from_db()
    register.amend(lesion=mark, by=build.dermatologist(), revision=mark.revision, state="gone")
    said = run()
    assert "due dropped: picture of a lesion" in said
    assert "the plan no longer asks for it" in said


def test_a_question_that_is_new_and_one_that_is_answered():
    recall = scene.due_check()
    PlanProblem.objects.create(
        patient=recall.patient, code="nothing_planned", subject="patient", since=scene.TODAY
    )
    pathology.record_diagnosis(
        patient=recall.patient, by=build.dermatologist(), code="bcc", reported_on=scene.TODAY
    )
    said = run()
    assert "problem gone: nothing_planned of patient: Nothing is planned and nothing is asked" in said
    assert "problem new: no_anchor" in said and "1 problem gone, 1 problem new for 1 of 1 people" in said


def test_a_question_that_is_put_otherwise_is_said_once():
    patient = build.patient()
    build.risk_assessment(patient, on=scene.TODAY)
    pathology.record_diagnosis(patient=patient, by=build.dermatologist(), code="bcc", reported_on=scene.TODAY)
    replan.replan_patient(patient.pk)
    row = PlanProblem.objects.get(patient=patient)
    PlanProblem.objects.filter(pk=row.pk).update(params=row.params | {"about": "As it was"})
    assert differences(run("--all")) == [f"problem changed: no_anchor of {row.subject}: {problem_words(row)}"]


def test_people_stand_under_their_numbers_and_never_by_name(clinic):
    said = run("--dry-run")
    for row in clinic[:2]:
        assert row.patient.number in said and row.patient.family_name not in said


def test_who_became_due_is_on_todays_list():
    patient = scene.melanoma(scene.TODAY.replace(month=3))
    run("--dry-run")
    assert not DeskLine.objects.exists()
    run()
    assert DeskLine.objects.filter(patient=patient).exists()


def test_planning_everybody_again_leaves_no_trace():
    scene.due_check(), scene.overdue_check()
    before = AuditRecord.objects.count()
    assert "2 plans are asked for" in (said := run("--all")) and "no difference" in said
    assert AuditRecord.objects.count() == before


def test_without_rules_it_says_so(db):
    Policy.objects.filter(state="in_force").update(state="replaced")
    with pytest.raises(CommandError, match="No rules are in force"):
        run()
