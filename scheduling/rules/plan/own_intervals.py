"""A clinician's interval or date in place of the rules, with its reason and its end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from itertools import takewhile

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.facts.facts import Facts, Override
from scheduling.rules.plan.plan import Due, Problem, Reason
from scheduling.rules.plan.series import History, Series
from scheduling.rules.plan.wording import duration_words

Key = tuple[str, str]
_DATE_TOLERANCE = Duration(days=7)


def keys(facts: Facts) -> set[Key]:
    """Purposes and subjects that some override speaks about."""
    return {(override.purpose, override.subject) for override in facts.overrides}


def until(facts: Facts, key: Key) -> date | None:
    """Rule occurrences up to this day are replaced; `date.max` for an interval without an end."""
    return max((_reach(override) for override in _standing(facts, key)), default=None)


def candidates(facts: Facts, key: Key, series: list[Series], history: History) -> list[Due]:
    """The first unfinished occurrence of every override that still has one."""
    found = [next(occurrences, None) for occurrences in _open(facts, key, series, history)]
    return [due for due in found if due]


def following(facts: Facts, key: Key, series: list[Series], history: History, day: date) -> list[Due]:
    """Every unfinished occurrence of every override whose target is not after `day`."""
    found = _open(facts, key, series, history)
    return [due for occurrences in found for due in takewhile(lambda due: due.target <= day, occurrences)]


def reasons(facts: Facts, key: Key, series: list[Series], history: History) -> list[Reason]:
    """What the clinicians decided, for dates that their overrides put off."""
    found = ((one, _anchor(facts, key, one, series, history)) for one in _standing(facts, key))
    return [_reason(override, anchor) for override, anchor in found if anchor is not None]


def _open(facts: Facts, key: Key, series: list[Series], history: History) -> Iterator[Iterator[Due]]:
    for override in _standing(facts, key):
        anchor = _anchor(facts, key, override, series, history)
        if anchor is not None and anchor not in history.discharged:
            yield _unfinished(override, anchor, history)


def _unfinished(override: Override, anchor: date, history: History) -> Iterator[Due]:
    return (due for due in _occurrences(override, anchor) if not _finished(due, override, history))


def problems(facts: Facts, key: Key, series: list[Series], history: History) -> Iterator[Problem]:
    """Overrides that cannot be followed."""
    for override in _mine(facts, key):
        if _contradicts_itself(override):
            text = f"The override {override.id} names {override.date}, after its own end on {override.until}."
            yield Problem("override_contradiction", key[1], text)
        elif _anchor(facts, key, override, series, history) is None:
            text = f"The override {override.id} gives an interval, and there is no day to count from."
            yield Problem("no_anchor", key[1], text)


def usual_tolerance(interval: Duration) -> Duration:
    """
    Days by which a visit at this interval may be early or late.

    Notes
    -----
    operations.md K2: 14 days at 3 months, 30 at 6, 60 at 12, a proposal without outside authority; below
    two months a tenth of the interval.
    """
    days = dates.longest_days(interval)
    for least, tolerance in ((340, 60), (170, 30), (60, 14)):
        if days >= least:
            return Duration(days=tolerance)
    return Duration(days=days // 10)


def _mine(facts: Facts, key: Key) -> list[Override]:
    found = (override for override in facts.overrides if (override.purpose, override.subject) == key)
    return sorted(found, key=lambda override: override.id)


def _standing(facts: Facts, key: Key) -> list[Override]:
    return [override for override in _mine(facts, key) if not _contradicts_itself(override)]


def _contradicts_itself(override: Override) -> bool:
    return bool(override.date and override.until and override.date > override.until)


def _reach(override: Override) -> date:
    if override.date is None:
        return override.until or date.max
    return max(override.date, override.until or override.date)


def _anchor(
    facts: Facts, key: Key, override: Override, series: list[Series], history: History
) -> date | None:
    """The named date, the last visit, the anchor of the rules that asks first, or the subject's own day.

    The first, because a diagnosis that comes later must not move a date back that stands already.
    """
    if override.date is not None:
        return override.date
    if history.last_done:
        return history.last_done
    anchors = sorted({one.anchor for one in series})
    first = min(anchors, key=lambda day: _first_asked(override, day, history), default=None)
    return first or _subject_day(facts, key[1])


def _first_asked(override: Override, anchor: date, history: History) -> date:
    """The first target that the records do not leave out: mostly that of the oldest anchor."""
    asked = (due.target for due in _occurrences(override, anchor) if not _is_before_records(due, history))
    return next(asked, date.max)


def _subject_day(facts: Facts, subject: str) -> date | None:
    kind, _, name = subject.partition(":")
    days: Iterable[date | None]
    if kind == "diagnosis":
        days = (item.anchor for item in facts.diagnoses if item.id == name)
    elif kind == "lesion":
        days = (item.since for item in facts.lesions if item.id == name)
    elif kind == "procedure":
        days = (item.on for item in facts.procedures if item.id == name)
    else:
        risk = facts.patient.risk
        assessed = (risk.assessed_on,) if risk else ()
        days = (*(item.anchor for item in facts.diagnoses), *assessed, facts.patient.records_since)
    return min((day for day in days if day), default=None)


def _occurrences(override: Override, anchor: date) -> Iterator[Due]:
    if override.date is not None:
        yield _due(override, anchor, 1, override.date, _DATE_TOLERANCE)
        return
    interval = dates.parse(override.interval or "")
    number = 1
    while override.until is None or dates.add(anchor, interval, number) <= override.until:
        yield _due(override, anchor, number, dates.add(anchor, interval, number), usual_tolerance(interval))
        number += 1


def _finished(due: Due, override: Override, history: History) -> bool:
    # An interval counts from the last visit, so only a named date can be finished by one.
    visited = (
        override.date is not None and history.last_done is not None and history.last_done >= due.earliest
    )
    return visited or _is_before_records(due, history) or (due.anchor, due.number) in history.closed


def _is_before_records(due: Due, history: History) -> bool:
    return history.records_since is not None and due.latest < history.records_since


def _due(override: Override, anchor: date, number: int, target: date, tolerance: Duration) -> Due:
    return Due(
        purpose=override.purpose,
        subject=override.subject,
        rule=_rule(override),
        anchor=anchor,
        number=number,
        earliest=dates.add(target, tolerance, -1),
        target=target,
        latest=dates.add(target, tolerance),
        urgency="B",
        reasons=(_reason(override, anchor),),
    )


def _reason(override: Override, anchor: date) -> Reason:
    said = (
        f"on {override.date}"
        if override.date
        else f"every {duration_words(dates.parse(override.interval or ''))}"
    )
    end = f" until {override.until}" if override.until else ""
    text = f"{override.by} decided {said}{end}: {override.reason}"
    return Reason(_rule(override), text, f"clinician's decision: {override.by}", anchor)


def _rule(override: Override) -> str:
    return f"override:{override.id}"
