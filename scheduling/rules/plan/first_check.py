"""Plan the first full skin check of a risk tier: due now where none is on record within the tier's interval."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.facts.facts import Risk
from scheduling.rules.plan.series import History, Occurrence, Series
from scheduling.rules.ruleset.ruleset import Phase

WITHIN = Duration(days=28)  # clinic setting, no source
_NOW = Phase(dates.ZERO, dates.ZERO, dates.ZERO, dates.ZERO, dates.ZERO, WITHIN, once=True)


@dataclass(frozen=True)
class FirstCheckSeries(Series):
    """A tier's series that begins with a check due now; the interval runs from there."""

    latest: date = date.max

    @cached_property
    def first(self) -> Occurrence:
        return Occurrence(1, self.anchor, self.anchor, self.latest, _NOW)

    def first_open(self, history: History) -> Occurrence | None:
        if self.is_discharged(history) or history.overridden_until == date.max:
            return None
        if not self.is_set_aside(self.first, history):
            return self.first
        found = super().first_open(_one_later(history))
        return replace(found, number=found.number + 1) if found else None

    def until(self, history: History, day: date) -> Iterator[Occurrence]:
        if self.first.target <= day:
            yield self.first
        for occurrence in super().until(_one_later(history), day):
            yield replace(occurrence, number=occurrence.number + 1)


_FIELDS = tuple(Series.__dataclass_fields__)


def _one_later(history: History) -> History:
    """Shift the numbers of what was closed: the first check is number 1, so the rule's own count starts one later."""
    if not history.closed:
        return history
    closed = frozenset((rule, of, anchor, number - 1) for rule, of, anchor, number in history.closed)
    return replace(history, closed=closed)


def count_from_last_check(
    series: Series, history: History, risk: Risk, looser: Callable[[], list[Series]]
) -> Series:
    """
    Count a tier's series from the last full skin check, or from the day since which one is owed.

    Parameters
    ----------
    series : Series
        The rule of the tier, anchored anywhere.
    looser : callable
        Gives the rules of the tiers below, which few patients need: what they would have asked for is never put off
        by the higher tier.

    Notes
    -----
    An assessment alone moves no date: without a check the day counts since which a tier above average stands. Records
    that begin later begin the count.
    """
    since, last = _since(series, history, risk), _last_check(series, history)
    begun = since if last is None or last < since else None
    floor = max((day for day in (begun, history.records_since) if day), default=None)
    if last is None:
        return _first(series, floor or since, [])
    found = series.counted_from(last)
    window = _window_after(found, history)
    if floor is None or window is None or window.latest >= floor:
        return found
    others = (_window_after(replace(one, anchor=last), history) for one in looser())
    return _first(series, floor, [one.latest for one in others if one and one.latest >= floor])


def _first(series: Series, floor: date, others: list[date]) -> FirstCheckSeries:
    latest = min([dates.add(floor, WITHIN), *others])
    told = {name: getattr(series, name) for name in _FIELDS}
    return FirstCheckSeries(**told | {"anchor": floor, "rolls": True}, latest=latest)


def _since(series: Series, history: History, risk: Risk) -> date:
    """Find since when the tier asks for checks; a discharge ends what went before it."""
    since = risk.since or risk.assessed_on
    ended = history.discharged.get(series.key)
    return risk.assessed_on if ended is not None and ended >= since else since


def _last_check(series: Series, history: History) -> date | None:
    ended = history.discharged.get(series.key)
    return (
        None if ended is not None and history.last_done and history.last_done <= ended else history.last_done
    )


def _window_after(series: Series, history: History) -> Occurrence | None:
    """Give the window after the last check, as if nothing had been closed, replaced or left out."""
    return series.first_open(History(history.done, records_since=None))
