"""Say what the desk does next about a recall, and when: from its window, its ladder and what was tried."""

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from scheduling.desk import parts_of_day
from scheduling.models import PartOfDay, Recall, Section, Urgency
from scheduling.planning.ladder import Ladder


@dataclass(frozen=True)
class RecallFacts:
    """`asked_until`: a dermatologist was asked and has not answered; `answered_at`: when one last did."""

    attempts: list[dict[str, Any]] = field(default_factory=list)
    answered_at: datetime | None = None
    asked_until: date | None = None
    routes: frozenset[str] = frozenset()
    under_care: bool = True


@dataclass(frozen=True)
class NextStep:
    section: Section
    on: date
    route: str = ""
    tried: int = 0
    part: str = PartOfDay.ANY


def next_step(row: Recall, rungs: Ladder, facts: RecallFacts, today: date) -> NextStep:
    """Phone or write today, or the day on which that is asked for; what waits for a word comes later."""
    counted = [one for one in facts.attempts if one["counts"]]
    since = [one for one in counted if not facts.answered_at or one["at"] > facts.answered_at]
    tried = len(since)
    if not facts.under_care:
        # A proposed death stops calls at once; the line stays under “later”, and comes back if it is refused.
        return NextStep(Section.LATER, max(row.latest, today), tried=tried)
    if facts.asked_until is not None:
        return NextStep(Section.LATER, max(facts.asked_until, today), tried=tried)
    route = _route(row, rungs, facts.routes, tried, today)
    on = _day(row, rungs, facts.attempts, since, today)
    if on > today:
        return NextStep(Section.LATER, on, route, tried)
    part = parts_of_day.next_part(since, rungs.times_of_day) if route == "phone" else PartOfDay.ANY
    return NextStep(_SECTION_OF.get(route, Section.PUT_RIGHT), today, route, tried, part)


_SECTION_OF = {"phone": Section.PHONE, "email": Section.WRITE, "post": Section.WRITE}


def _day(
    row: Recall, rungs: Ladder, attempts: list[dict[str, Any]], since: list[dict[str, Any]], today: date
) -> date:
    """Give the day of the next step: what was promised, what a dermatologist set, or what the ladder spaces."""
    days = [today]
    if row.next_look_on:
        days.append(row.next_look_on)
    last = attempts[-1] if attempts else None
    if last and last["next_on"]:
        # On the last day of the window a nurse's promise no longer hides the recall; a dermatologist's does.
        if row.latest > today or last["lasts"]:
            days.append(last["next_on"])
    elif since:
        tried_on = timezone.localdate(since[-1]["at"])
        days.append(rungs.next_day(tried_on, row.latest, row.urgency == Urgency.A))
    return max(days)


def _route(row: Recall, rungs: Ladder, live: frozenset[str], tried: int, today: date) -> str:
    """Give the way of the next attempt: a letter goes ahead of the window; once it is open somebody is rung."""
    wanted = rungs.next_route(tried)
    hurried = (
        row.earliest <= today and "phone" in rungs.routes and wanted != "phone" and tried < rungs.attempts
    )
    if (hurried or wanted not in live) and "phone" in live:
        return "phone"
    others = [kind for kind in ("email", "post") if kind in live]
    # Without any way that works somebody finds one first.
    return wanted if wanted in live else next(iter(others), "")
