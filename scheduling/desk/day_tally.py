"""Sum up the list of a local day, whatever its length: who is to be reached, since when, and who has what."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Min, Q

from clinic.models import Member
from scheduling.desk import worklists
from scheduling.models import ItemState, RecallState, Urgency, WorkItem
from scheduling.planning import ladder
from scheduling.rules.plan import lateness


@dataclass(frozen=True)
class DayTally:
    """`oldest`: the day since when the first of them has waited, none where nobody is left."""

    items: int
    people: int
    oldest: date | None


def left_to_do(day: date) -> DayTally:
    """Count what is still to do on this day, in one question."""
    first = {f"first_{code}": Min("recall__earliest", filter=Q(recall__urgency=code)) for code in Urgency}
    of = {"items": Count("pk"), "people": Count("recall__patient", distinct=True)}
    # The rows are only counted, so nothing that they show is fetched.
    found = worklists.items_of(day).select_related(None).order_by().aggregate(**of, **first)
    since = [
        lateness.opens_on(found[f"first_{code}"], ladder.ladder_of(code).lead_days)
        for code in Urgency
        if found[f"first_{code}"]
    ]
    return DayTally(found["items"], found["people"], min(since, default=None))


def with_others(day: date, member: Member) -> list[tuple[str, int]]:
    """Say by name who else works on how many of them, the busiest first."""
    theirs = worklists.items_of(day).filter(claimed_by__isnull=False).exclude(claimed_by=member)
    counted = theirs.select_related(None).order_by().values_list("claimed_by").annotate(number=Count("pk"))
    found = dict(counted.order_by("-number", "claimed_by"))
    members = Member.objects.in_bulk(list(found))
    return [(str(members[key]), number) for key, number in found.items()]


def ledger(day: date, member: Member) -> Mapping[str, int]:
    """Count how the day stands: to reach, settled, this member's, handed back."""
    done, due = Q(state=ItemState.DONE), Q(recall__state=RecallState.DUE)
    return WorkItem.objects.filter(day=day).aggregate(
        to_reach=Count("pk", filter=~done & due),
        settled=Count("pk", filter=done),
        yours=Count("pk", filter=Q(state=ItemState.CLAIMED, claimed_by=member)),
        handed_back=Count("pk", filter=Q(state=ItemState.HANDED_BACK)),
    )
