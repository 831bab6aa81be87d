"""Make the visits urgent of results that are to be told soon for a reason that FACTS has no word for.

Such are a report that leaves open whether it is malignant, and a further report of a malignant tumour.
"""

from collections.abc import Sequence
from dataclasses import replace

from clinic.models import Duty, Purpose
from lesions.models import Diagnosis
from scheduling.rules.plan.plan import Plan


def urgent(patients: Sequence[int]) -> frozenset[str]:
    """Find the procedures whose report is uncertain or a further one, and urgently to be told: procedure:7"""
    rows = Diagnosis.objects.filter(
        patient__in=patients, uncertain=True, told_on=None, procedure__isnull=False
    )
    further = Duty.objects.filter(patient__in=patients, kind="tell", urgent=True, ended_at__isnull=True)
    found = (f"procedure:{key}" for key in rows.values_list("procedure", flat=True))
    return frozenset([*found, *further.values_list("subject", flat=True)])


def as_urgent(plan: Plan, subjects: frozenset[str]) -> Plan:
    if not subjects:
        return plan
    due = tuple(
        # Raised and never lowered: the core's own urgency is the least that holds.
        replace(row, urgency="A") if row.purpose == Purpose.RESULT_VISIT and row.subject in subjects else row
        for row in plan.due
    )
    return replace(plan, due=due)
