"""On which days patients are wanted back, from facts and rules alone: what the clinic has to find time for."""

from collections.abc import Iterator
from datetime import date

from django.db.models import Prefetch

from clinic.models import Patient
from scheduling.facts import gather
from scheduling.models import OPEN, Plan, Recall
from scheduling.rules import engine, facts
from scheduling.rules.facts import Facts
from scheduling.rules.plan import Due
from scheduling.rules.ruleset import RuleSet

CHUNK = 500


def everybody() -> Iterator[tuple[Patient, Facts]]:
    """Each record with its facts and, as `open_recalls`, its open duties.

    Facts are read anew only where the plan is behind them.
    """
    open_recalls = Prefetch("recalls", Recall.objects.filter(state__in=OPEN), to_attr="open_recalls")
    rows = Patient.objects.filter(merged_into__isnull=True).select_related("plan").order_by("pk")
    for patient in rows.prefetch_related(open_recalls).iterator(CHUNK):
        plan: Plan | None = getattr(patient, "plan", None)
        current = plan is not None and plan.facts_revision == patient.facts_revision
        yield patient, facts.parse(plan.facts) if current and plan else gather(patient)


def following(known: Facts, ruleset: RuleSet, due: tuple[Due, ...], today: date, until: date) -> list[Due]:
    """What is open and what comes after it, to `until`; occurrences that are over are left out."""
    number = {(one.rule, one.subject, one.anchor): one.number for one in due}
    later = [
        one
        for one in engine.upcoming(known, ruleset, today, until)
        if one.target > today and one.number > number.get((one.rule, one.subject, one.anchor), 0)
    ]
    return [*due, *later]


def days_wanted(wanted: list[Due], today: date) -> set[date]:
    """One visit for all that falls on one day; what should have been done by now is wanted today."""
    return {max(one.target, today) for one in wanted}
