"""Make plans anew, for one patient or many: gather the facts, ask the core, have the answer written."""

from collections.abc import Sequence
from typing import Any

from django.db import OperationalError, transaction
from django.db.models import F

from clinic import clock
from clinic.models import Patient, PolicyKind, PolicyState, StaleRow
from clinic.models import Policy as PolicyRow
from scheduling.models import Plan, Recall
from scheduling.planning import untold_results
from scheduling.planning.gather import gather_facts_of_all
from scheduling.planning.plan_writer import PlanWriter
from scheduling.planning.recall_update import Answered, state_on, supersede
from scheduling.planning.rules_in_force import rules_in_force
from scheduling.rules.plan import engine

__all__ = [
    "open_again",
    "patients_to_replan",
    "replan_many",
    "replan_patient",
    "state_on",
    "still_asked_for",
    "supersede",
]

TRIES = 3
# A portion is one transaction: larger ones hold SQLite's only writer too long, smaller ones ask too often.
PORTION = 100


def replan_patient(patient_id: int) -> Plan | None:
    """Make the plan of a patient anew; None where there are no rules in force, no such record, or no quiet moment."""
    for _ in range(TRIES):
        writer = _ask([patient_id])
        if writer is None:
            return None
        try:
            with transaction.atomic():
                made = writer.write()
        # Somebody worked on one of its recalls meanwhile: read everything again.
        except StaleRow:
            continue
        if patient_id in made:
            return made[patient_id]
    return None


def replan_many(keys: Sequence[int]) -> set[int]:
    """Make many plans anew, a portion in one transaction; returns the keys of those who have one now."""
    done: set[int] = set()
    for start in range(0, len(keys), PORTION):
        done |= _replan_portion(keys[start : start + PORTION])
    return done


def _replan_portion(keys: Sequence[int]) -> set[int]:
    """Plan one portion in a transaction; after a conflict each patient is planned alone."""
    writer, made = _ask(keys), set()
    if writer is None:
        return set()
    try:
        with transaction.atomic():
            made = set(writer.write())
    # OperationalError: SQLite was locked too long, or PostgreSQL broke a deadlock.
    except (StaleRow, OperationalError):
        made = set()
    return made | {key for key in keys if key not in made and replan_patient(key)}


def _ask(keys: Sequence[int]) -> PlanWriter | None:
    """Read the facts and ask the core, outside a transaction: this is what takes the time.

    The patients first: whoever changes a fact after this raises their revision, and the plan is not written.
    """
    rules = rules_in_force()
    if rules is None:
        return None
    policy, ruleset = rules
    patients = list(Patient.objects.filter(pk__in=keys, merged_into__isnull=True).order_by("pk"))
    # After the patients: a fact recorded in between raises a revision that was already read.
    known = gather_facts_of_all(patients)
    today, urgent = clock.today(), untold_results.urgent(keys)
    plans = {
        pk: untold_results.as_urgent(engine.plan(one, ruleset, today), urgent) for pk, one in known.items()
    }
    answers = [Answered(patient, known[patient.pk], plans[patient.pk]) for patient in patients]
    by_risk = frozenset(rule.id for rule in ruleset.rules if rule.anchor == "risk")
    return PlanWriter(answers, policy, by_risk) if answers else None


def patients_to_replan(limit: int | None = 200) -> list[int]:
    """Find patients whose plan is missing or out of date in facts, rules or time; the longest waiting first."""
    policy = (
        PolicyRow.objects.filter(kind=PolicyKind.RULES, state=PolicyState.IN_FORCE).values_list("pk").first()
    )
    if policy is None:
        return []
    current = Patient.objects.filter(
        plan__facts_revision=F("facts_revision"),
        plan__policy_id=policy[0],
        plan__valid_until__gte=clock.today(),
    )
    behind = Patient.objects.filter(merged_into__isnull=True).exclude(pk__in=current.values("pk"))
    # Nulls sort first or last by database; both are fine, as the sweep comes round to everybody.
    return list(behind.order_by("plan__made_at", "pk").values_list("pk", flat=True)[:limit])


def still_asked_for(row: Recall) -> bool:
    """Say whether the last plan asks for this purpose and subject; yes while there is no plan."""
    plan = Plan.objects.filter(patient_id=row.patient_id).first()
    return plan is None or any(
        (due["purpose"], due["subject"]) == (row.purpose, row.subject) for due in plan.result["due"]
    )


def open_again(row: Recall) -> dict[str, Any]:
    """Give the fields that open a recall again whose appointment came to nothing: the dates stay what they were."""
    return {"state": state_on(row), "reopened": row.reopened + 1}
