"""Find the page on which each problem of a plan is mended: one for every code, by what it is about."""

from collections import defaultdict
from collections.abc import Sequence

from django.db.models import Model
from django.urls import reverse

from lesions.models import Diagnosis, Lesion, Procedure
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
_ROWS: dict[str, type[Model]] = {"lesion": Lesion, "diagnosis": Diagnosis, "procedure": Procedure}


def link_of(problem: PlanProblem) -> str:
    """Give the page on which this problem is answered or its fact mended."""
    return links_of([problem])[0]


def links_of(problems: Sequence[PlanProblem]) -> list[str]:
    """Give the page of each, with one question for each kind of row that they name."""
    on_record = _on_record(problems)
    return [_link(problem, on_record) for problem in problems]


def _link(problem: PlanProblem, on_record: set[tuple[int, str]]) -> str:
    if can_answer(problem):
        return reverse("scheduling:answer_problem", args=[problem.pk])
    kind, _, key = problem.subject.partition(":")
    name = _BY_SUBJECT.get(kind)
    # What the problem names may not be on record; its link is the patient's page then.
    if problem.code not in _BY_CODE and name and (problem.patient_id, problem.subject) in on_record:
        return reverse(name, args=[int(key)])
    return reverse(_BY_CODE.get(problem.code, _PATIENT), args=[problem.patient_id])


def _on_record(problems: Sequence[PlanProblem]) -> set[tuple[int, str]]:
    """Find which lesion, diagnosis or procedure that a problem names is on record, and of which patient."""
    keys: dict[str, set[int]] = defaultdict(set)
    for problem in problems:
        kind, _, key = problem.subject.partition(":")
        if kind in _ROWS and key.isdecimal():
            keys[kind].add(int(key))
    return {
        (patient, f"{kind}:{key}")
        for kind, wanted in keys.items()
        for patient, key in _ROWS[kind]._default_manager.filter(pk__in=wanted).values_list("patient_id", "pk")
    }
