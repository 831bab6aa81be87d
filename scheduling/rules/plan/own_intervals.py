"""Plan by a clinician's own interval or day: it stands for what was known on the day it was decided."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from functools import partial
from itertools import takewhile

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.facts.facts import Facts, Override
from scheduling.rules.plan.messages import params
from scheduling.rules.plan.plan import Due, Problem, Reason
from scheduling.rules.plan.series import History, Series

Key = tuple[str, str]
_DATE_TOLERANCE = Duration(days=7)
_ASKED_AFTER = Duration(months=12)  # one without an end is asked about once a year


def keys(facts: Facts) -> set[Key]:
    """Find the purposes and subjects for which a clinician set an interval or a day."""
    return {(override.purpose, override.subject) for override in facts.overrides}


def replaces_until(facts: Facts, key: Key, series: Series, history: History) -> date | None:
    """Say up to which day a series is replaced by an own interval; `date.max` for one without an end.

    What became known after an override was decided runs beside it.
    """
    if not facts.overrides:  # as nearly always
        return None
    speaking = (one for one in standing(facts, key, history) if series.known_on <= one.decided_on)
    return max((_reach(override) for override in speaking), default=None)


def candidates(facts: Facts, key: Key, history: History) -> list[Due]:
    """Find the first unfinished occurrence of every own interval or day that still has one."""
    found = (next(_unfinished(one, history), None) for one in standing(facts, key, history))
    return [due for due in found if due]


def following(facts: Facts, key: Key, history: History, day: date) -> list[Due]:
    """List every unfinished occurrence of every own interval or day whose target is not after `day`."""
    found = (_unfinished(one, history) for one in standing(facts, key, history))
    return [due for occurrences in found for due in takewhile(lambda due: due.target <= day, occurrences)]


def reasons(facts: Facts, key: Key, history: History) -> list[Reason]:
    """Give as reasons what the clinicians decided, for dates that it puts off."""
    return [_reason(one, _anchor(one, history)) for one in standing(facts, key, history)]


def problems(facts: Facts, key: Key) -> Iterator[Problem]:
    """Find own intervals and days that cannot be followed."""
    for one in _mine(facts, key):
        if _contradicts_itself(one):
            said = params(by=one.by, day=str(one.date), until=str(one.until))
            yield Problem("override_contradiction", key[1], said)


def to_confirm(facts: Facts, key: Key, history: History) -> Iterator[tuple[date, Callable[[], Problem]]]:
    """Ask about an interval without an end, a year after it was decided."""
    for one in standing(facts, key, history):
        if one.interval and one.until is None:
            yield dates.add(one.decided_on, _ASKED_AFTER), partial(_does_it_stand, one, key[1])


def _does_it_stand(override: Override, subject: str) -> Problem:
    said = params(by=override.by, every=override.interval, decided=str(override.decided_on))
    return Problem("own_interval_to_confirm", subject, said)


def usual_tolerance(interval: Duration) -> Duration:
    """
    Days by which a visit at this interval may be early or late.

    Notes
    -----
    Clinic setting, no source: 14 days at 3 months, 30 at 6, 60 at 12; below
    two months a tenth of the interval.
    """
    days = dates.longest_days(interval)
    for least, tolerance in ((340, 60), (170, 30), (60, 14)):
        if days >= least:
            return Duration(days=tolerance)
    return Duration(days=days // 10)


def standing(facts: Facts, key: Key, history: History) -> list[Override]:
    """Find the own intervals and days of a key that nobody discharged and that do not contradict themselves."""
    if not facts.overrides:
        return []
    mine = (one for one in _mine(facts, key) if not _contradicts_itself(one))
    return [one for one in mine if (_rule(one), _rule(one)) not in history.discharged]


def _mine(facts: Facts, key: Key) -> list[Override]:
    return facts.overrides_about.get(key, [])


def _contradicts_itself(override: Override) -> bool:
    return bool(override.date and override.until and override.date > override.until)


def _reach(override: Override) -> date:
    if override.date is None:
        return override.until or date.max
    return max(override.date, override.until or override.date)


def _anchor(override: Override, history: History) -> date:
    """Give the day to count from: the named day, the last completed check, or without one the day of the decision."""
    return override.date or history.last_done or override.decided_on


def _unfinished(override: Override, history: History) -> Iterator[Due]:
    occurrences = _occurrences(override, _anchor(override, history), history.records_since)
    return (due for due in occurrences if not _is_finished(due, override, history))


def _occurrences(override: Override, anchor: date, since: date | None) -> Iterator[Due]:
    """All of them, less most of those that lie before the records and are finished for that reason."""
    if override.date is not None:
        yield _due(override, anchor, 1, override.date, _DATE_TOLERANCE)
        return
    interval = dates.parse(override.interval or "")
    number = _first_number(anchor, interval, since)
    while override.until is None or dates.add(anchor, interval, number) <= override.until:
        yield _due(override, anchor, number, dates.add(anchor, interval, number), usual_tolerance(interval))
        number += 1


def _first_number(anchor: date, interval: Duration, since: date | None) -> int:
    """One that is surely not late: an occurrence for each day of 170 years would be counted through otherwise."""
    if since is None:
        return 1
    before = (since - anchor).days - usual_tolerance(interval).days
    return max(1, before // dates.longest_days(interval))


def _is_finished(due: Due, override: Override, history: History) -> bool:
    # An interval counts from the last visit, so only a named date can be finished by one.
    visited = (
        override.date is not None and history.last_done is not None and history.last_done >= due.earliest
    )
    before_records = history.records_since is not None and due.latest < history.records_since
    return visited or before_records or (due.rule, due.of, due.anchor, due.number) in history.closed


def _due(override: Override, anchor: date, number: int, target: date, tolerance: Duration) -> Due:
    return Due(
        purpose=override.purpose,
        subject=override.subject,
        rule=_rule(override),
        of=_rule(override),
        anchor=anchor,
        number=number,
        earliest=dates.add(target, tolerance, -1),
        target=target,
        latest=dates.add(target, tolerance),
        urgency="B",
        reasons=(_reason(override, anchor),),
    )


def _reason(override: Override, anchor: date) -> Reason:
    code = "own_day" if override.date else "own_interval_until" if override.until else "own_interval"
    said = params(
        by=override.by,
        decided=str(override.decided_on),
        every=override.interval,
        day=str(override.date) if override.date else None,
        until=str(override.until) if override.until else None,
        words=override.reason,
    )
    return Reason(
        _rule(override), _rule(override), code, said, f"clinician's decision: {override.by}", anchor
    )


def _rule(override: Override) -> str:
    return f"override:{override.id}"
