"""Find which duties a change of facts would move later, before it is saved."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from clinic import clock
from clinic.models import Patient
from clinic.people.longer_waits import Wait
from scheduling.models import Recall
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
    """What a patient is wanted for: what is open, the targets of the next two years, and what was done."""

    due: dict[Key, Due]
    targets: dict[Key, list[date]]
    done: frozenset[Done]


def look(patient: Patient) -> Callable[[], list[Wait]]:
    """Look at a patient's days before the facts change; what it returns is called afterwards."""
    before = _wanted(patient)
    return lambda: _later(before, _wanted(patient))


def of_two(survivor: Patient, gone: Patient) -> Callable[[], list[Wait]]:
    """Look at the days of two records that become one: neither may wait longer unseen."""
    before = [_wanted(survivor), _wanted(gone)]
    return lambda: [wait for was in before for wait in _later(was, _wanted(survivor))]


def of_parted(survivor: Patient, gone: Patient) -> Callable[[], list[Wait]]:
    """Look at the days of a record that becomes two: each duty is the survivor's, or of something that goes back."""
    before = _wanted(survivor)

    def after() -> list[Wait]:
        ours, theirs = _wanted(survivor), _wanted(gone)
        due, targets = {**theirs.due, **ours.due}, {**theirs.targets, **ours.targets}
        return _later(before, _Wanted(due, targets, ours.done | theirs.done))

    return after


def _wanted(patient: Patient) -> _Wanted:
    rules = rules_in_force()
    if rules is None:
        return _Wanted({}, {}, frozenset())
    known, today = gather_facts(patient), clock.today()
    due = {(one.purpose, one.subject): one for one in engine.plan(known, rules[1], today).due}
    # Two years: a schedule may keep its next visit and lose one after it, which nobody would notice today.
    until = today + visits_wanted.AHEAD
    wanted = visits_wanted.following(known, rules[1], tuple(due.values()), today, until)
    targets = {
        key: [target for target, _ in visits_wanted.deadlines(first, _of(key, wanted))]
        for key, first in due.items()
    }
    return _Wanted(due, targets, frozenset(known.done))


def _of(key: Key, wanted: Iterable[Due | Recall]) -> list[Due | Recall]:
    return [one for one in wanted if (one.purpose, one.subject) == key]


def _later(before: _Wanted, after: _Wanted) -> list[Wait]:
    finished = {(one.purpose, one.subject) for one in after.done - before.done}
    places = wording.subjects(list(before.due.values()))
    found = []
    for key, was in before.due.items():
        # Done is not put off: what comes after it is counted from now on.
        if key in finished or key[0] == _DONE_BY_ITS_RECORD:
            continue
        now = after.due.get(key)
        # Target and last day both: a window may open later and still end on its old day.
        first = now is None or now.target > was.target or now.latest > was.latest
        fewer = not first and _fewer(before.targets[key], after.targets[key])
        if first or fewer:
            target, latest = (now.target, now.latest) if now else (None, None)
            what = wording.what_is_planned(was, places)
            found.append(Wait(" ".join(key), what, was.target, was.latest, target, latest, fewer))
    return found


def _fewer(old: list[date], new: list[date]) -> bool:
    """Say whether the n-th visit of the next two years comes later or falls away."""
    return len(new) < len(old) or any(now > was for was, now in zip(old, new, strict=False))
