"""A result that leaves open whether it is malignant: FACTS has no word for it, so its visit is made urgent here."""

from collections.abc import Sequence
from dataclasses import replace

from clinic.models import Purpose
from lesions.models import Diagnosis
from scheduling.rules.plan.plan import Plan


def not_told(patients: Sequence[int]) -> frozenset[str]:
    """Procedures of these patients whose report is uncertain and not told: procedure:7"""
    rows = Diagnosis.objects.filter(
        patient__in=patients, uncertain=True, told_on=None, procedure__isnull=False
    )
    return frozenset(f"procedure:{key}" for key in rows.values_list("procedure", flat=True))


def as_urgent(plan: Plan, subjects: frozenset[str]) -> Plan:
    due = tuple(
        replace(row, urgency="A") if row.purpose == Purpose.RESULT_VISIT and row.subject in subjects else row
        for row in plan.due
    )
    return replace(plan, due=due)
