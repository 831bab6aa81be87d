"""Work out on which days patients are wanted back, from facts and rules alone: what the clinic needs time for."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from itertools import zip_longest

from django.db.models import Prefetch

from clinic.models import Patient
from scheduling.models import OPEN, Plan, Recall
from scheduling.planning.gather import gather_facts
from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import Facts
from scheduling.rules.plan import engine
from scheduling.rules.plan.plan import Due
from scheduling.rules.ruleset.ruleset import RuleSet

# Facts and plans of all records of a large clinic do not fit into memory together.
CHUNK = 500
AHEAD = timedelta(days=731)  # how far later intervals are compared: two years, as long as a first phase runs


def everybody() -> Iterator[tuple[Patient, Facts]]:
    """Give each record with its facts and, as `open_recalls`, its open duties.

    Facts are read anew only where the plan is behind them.
    """
    open_recalls = Prefetch("recalls", Recall.objects.filter(state__in=OPEN), to_attr="open_recalls")
    rows = (
        Patient.objects.filter(merged_into__isnull=True)
        .select_related("plan")
        .defer("plan__result")
        .order_by("pk")
    )
    for patient in rows.prefetch_related(open_recalls).iterator(CHUNK):
        plan: Plan | None = getattr(patient, "plan", None)
        current = plan is not None and plan.facts_revision == patient.facts_revision
        yield patient, facts.parse(plan.facts) if current and plan else gather_facts(patient)


def following(
    known: Facts, ruleset: RuleSet, due: Sequence[Due | Recall], today: date, until: date
) -> list[Due | Recall]:
    """List what is open and what comes after it, to `until`; occurrences that are over are left out."""
    number = {(one.rule, one.subject, one.anchor): one.number for one in due}
    later = [
        one
        for one in engine.upcoming(known, ruleset, today, until)
        if one.target > today and one.number > number.get((one.rule, one.subject, one.anchor), 0)
    ]
    return [*due, *later]


def visits(wanted: Iterable[Due | Recall], today: date) -> dict[date, list[Due | Recall]]:
    """Put together by day what is done at one visit; what should have been done by now is wanted today.

    A visit satisfies every occurrence of its purpose and subject whose earliest day has passed (docs/domain.md, 5).
    """
    found: dict[date, list[Due | Recall]] = defaultdict(list)
    last: dict[tuple[str, str], date] = {}
    for one in sorted(wanted, key=lambda one: (one.target, one.latest)):
        key, day = (one.purpose, one.subject), max(one.target, today)
        if key not in last or one.earliest > last[key]:
            found[day].append(one)
            last[key] = day
    return found


def deadlines(first: Recall | Due | None, wanted: Iterable[Due | Recall]) -> list[tuple[date, date]]:
    """List target and latest day of the open occurrence and of those that follow it, in order."""
    if first is None:
        return []
    found, last = [(first.target, first.latest)], first.target
    for one in sorted(wanted, key=lambda one: (one.target, one.latest)):
        # A visit satisfies every occurrence whose earliest day has passed, whichever rule asked for it.
        if one.target > last and one.earliest > last:
            found.append((one.target, one.latest))
            last = one.target
    return found


def longer(old: list[tuple[date, date]], new: list[tuple[date, date]]) -> tuple[int, bool]:
    """Compare two rows of visits: by how many days one comes later at most, and whether one is no longer asked for."""
    most, falls_away = 0, False
    for before, after in zip_longest(old, new):
        # An additional visit makes nobody wait longer.
        if before is None:
            break
        if after is None:
            falls_away = True
        else:
            most = max(most, (after[0] - before[0]).days, (after[1] - before[1]).days)
    return most, falls_away
