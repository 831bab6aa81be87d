"""A tier that the record contradicts, and a transplant, are problems of the plan with a page that mends them.

What contradicts what: docs/domain.md, 14, this program's own rule, no source.
"""

from datetime import date

import pytest
from django.urls import reverse

from scheduling.models import PlanProblem
from scheduling.planning import replan
from scheduling.planning.wording import problem_words
from scheduling.problem_links import link_of
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def rules(noon):
    build.rules_in_force()


def problems(patient):
    replan.replan_patient(patient.pk)
    return {row.code: row for row in PlanProblem.objects.filter(patient=patient, gone_on__isnull=True)}


def test_a_melanoma_beside_an_average_tier_is_put_to_a_person():
    """Cancer Council, Optimal care pathway for people with melanoma, 2nd edition, 1.2: a melanoma is a high risk."""
    patient = scene.melanoma(date(2026, 3, 15))
    found = problems(patient)["tier_contradicts_diagnosis"]
    assert problem_words(found).lower().startswith("the risk tier is average, and melanoma of")
    assert link_of(found) == reverse("clinic:assess_risk", args=[patient.pk])
    build.risk_assessment(patient, on=scene.TODAY, past_melanoma=True)
    assert "tier_contradicts_diagnosis" not in problems(patient)


def test_a_transplant_that_was_answered_reaches_the_plan():
    """No published interval was read (docs/sources.md); the tier's checks stay."""
    patient = build.patient()
    build.risk_assessment(patient, on=scene.TODAY, transplanted=True)
    found = problems(patient)["no_rule"]
    assert "after a transplant" in problem_words(found)
    assert scene.check_of(patient)
