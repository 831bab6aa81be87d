"""Which duties a change of facts would move later, by the core and the rules in force: asked before it is saved."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from clinic import clock
from clinic.models import Patient
from clinic.people.longer_waits import Wait
from scheduling.planning import visits_wanted
from scheduling.planning.gather import gather_facts
from scheduling.planning.rules_in_force import rules_in_force
from scheduling.recalls import wording
from scheduling.rules.facts.facts import Done
from scheduling.rules.plan import engine
from scheduling.rules.plan.plan import Due

Key = tuple[str, str]
# Recording one is its completion, whatever follows from it.
_DONE_BY_ITS_RECORD = "risk_assessment"


@dataclass(frozen=True)
class _Wanted:
    """What is open, the days of it and of what follows in the next two years, and what was done."""

    due: dict[Key, Due]
    days: dict[Key, list[tuple[date, date]]]
    done: frozenset[Done]


def look(patient: Patient) -> Callable[[], list[Wait]]:
    """Call it before the facts change, and what it returns afterwards."""
    before = _wanted(patient)
    return lambda: _later(before, _wanted(patient))


def _wanted(patient: Patient) -> _Wanted:
    rules = rules_in_force()
    if rules is None:
        return _Wanted({}, {}, frozenset())
    known, today = gather_facts(patient), clock.today()
    due = {(one.purpose, one.subject): one for one in engine.plan(known, rules[1], today).due}
    until = today + visits_wanted.AHEAD
    wanted = visits_wanted.following(known, rules[1], tuple(due.values()), today, until)
    days = {
        key: visits_wanted.deadlines(first, [one for one in wanted if (one.purpose, one.subject) == key])
        for key, first in due.items()
    }
    return _Wanted(due, days, frozenset(known.done))


def _later(before: _Wanted, after: _Wanted) -> list[Wait]:
    finished = {(one.purpose, one.subject) for one in after.done - before.done}
    places = wording.subjects(list(before.due.values()))
    found = []
    for key, was in before.due.items():
        by, falls_away = visits_wanted.longer(before.days[key], after.days.get(key, []))
        if (by > 0 or falls_away) and key not in finished and key[0] != _DONE_BY_ITS_RECORD:
            found.append(_wait(wording.what_is_planned(was, places), was, after.due.get(key)))
    return found


def _wait(what: str, was: Due, now: Due | None) -> Wait:
    fewer = now is not None and now.target <= was.target and now.latest <= was.latest
    return Wait(what, was.target, was.latest, now and now.target, now and now.latest, fewer)
