"""Find the page on which each problem of a plan is mended: one for every code, by what it is about."""

from django.urls import reverse

from scheduling.models import PlanProblem
from scheduling.recalls.what_follows import can_answer

_PATIENT = "clinic:patient"
# Codes about the patient as a whole; the others are mended on the page of their lesion, diagnosis or procedure.
_BY_CODE = {
    "tier_contradicts_diagnosis": "clinic:assess_risk",
    "risk_assessment_missing": "clinic:assess_risk",
    "own_interval_to_confirm": "scheduling:set_override",
    "override_contradiction": "scheduling:set_override",
    "visits_close_together": "scheduling:set_override",
    "what_follows": "scheduling:set_override",
}
_BY_SUBJECT = {
    "lesion": "lesions:lesion",
    "diagnosis": "lesions:amend_diagnosis",
    "procedure": "lesions:sutures",
}
_OWN_PAGES = {"lesion": "lesions", "diagnosis": "diagnoses", "procedure": "procedures"}


def link_of(problem: PlanProblem) -> str:
    """Give the page on which this problem is answered or its fact mended."""
    if can_answer(problem):
        return reverse("scheduling:answer_problem", args=[problem.pk])
    kind, _, key = problem.subject.partition(":")
    name = _BY_SUBJECT.get(kind)
    if problem.code not in _BY_CODE and name and _is_on_record(problem, kind, key):
        return reverse(name, args=[int(key)])
    return reverse(_BY_CODE.get(problem.code, _PATIENT), args=[problem.patient_id])


def _is_on_record(problem: PlanProblem, kind: str, key: str) -> bool:
    """Say whether what the problem names is on record; if not, its link is the patient's page."""
    return key.isdecimal() and getattr(problem.patient, _OWN_PAGES[kind]).filter(pk=key).exists()
