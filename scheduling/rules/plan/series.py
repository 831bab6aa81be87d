"""Count the occurrences of one rule from one anchor, and find the first that is not finished."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

from scheduling.rules import dates
from scheduling.rules.plan.messages import Params
from scheduling.rules.ruleset.ruleset import Phase, Rule


@dataclass(frozen=True, slots=True)
class Occurrence:
    number: int
    earliest: date
    target: date
    latest: date
    phase: Phase


@dataclass(frozen=True)
class History:
    """What has happened to one purpose and subject: done, closed, discharged, replaced.

    `closed` holds rule, source, anchor and number of each occurrence that somebody closed, `discharged` the day on
    which the series of a rule and source was ended; `overridden_until` is set where an override speaks for a series.
    """

    done: tuple[date, ...] = ()
    closed: frozenset[tuple[str, str, date, int]] = frozenset()
    discharged: Mapping[tuple[str, str], date] = field(default_factory=dict)
    records_since: date | None = None
    overridden_until: date | None = None

    @property
    def last_done(self) -> date | None:
        return self.done[-1] if self.done else None

    @cached_property
    def closed_numbers(self) -> frozenset[tuple[str, str, int]]:
        return frozenset((rule, of, number) for rule, of, _, number in self.closed)

    def shows(self, occurrence: Occurrence) -> bool:
        """Say whether an occurrence belongs on a time line: it was visited, or no own interval stands in its place."""
        visited = self.last_done is not None and occurrence.earliest <= self.last_done
        return visited or self.overridden_until is None or occurrence.target > self.overridden_until


@dataclass(frozen=True)
class Series:
    """One rule on one fact: `of` names its source, `head` and `about` say it in words, `known_on` is since when.

    `source_subject` is whose problem a missing answer is. A series that `rolls` is counted anew from each visit; one
    that was `revived_on` a later day, by a new assessment, goes on after an earlier discharge.
    """

    rule: Rule
    anchor: date
    subject: str
    source_subject: str
    of: str
    head: str
    about: Params
    known_on: date
    phases: tuple[Phase, ...] = field(default=())
    certain: bool = True
    rolls: bool = False
    revived_on: date | None = None

    @property
    def key(self) -> tuple[str, str]:
        return self.rule.id, self.of

    def is_discharged(self, history: History) -> bool:
        ended = history.discharged.get(self.key)
        return ended is not None and (self.revived_on is None or ended >= self.revived_on)

    def first_open(self, history: History) -> Occurrence | None:
        """Find the first unfinished occurrence, also when it is long past; None when the schedule is over."""
        if self.is_discharged(history) or history.overridden_until == date.max:
            return None
        if self.rule.spacing == "attendance":
            step = self._walk(history)[1]
            return step.occurrence if step else None
        last = history.last_done
        for occurrence in self.anchored():
            if (last is None or occurrence.earliest > last) and not self.is_set_aside(occurrence, history):
                return occurrence
        return None

    def is_closed(self, number: int, history: History) -> bool:
        """Say whether an occurrence was closed: by rule and source, whatever its anchor became later."""
        if not history.closed:
            return False
        if self.rolls:
            return (*self.key, self.anchor, number) in history.closed
        return (*self.key, number) in history.closed_numbers

    def is_set_aside(self, occurrence: Occurrence, history: History) -> bool:
        """Say whether an occurrence is finished without a visit: closed, before the records begin, or replaced."""
        return (
            self.is_closed(occurrence.number, history)
            or (history.records_since is not None and occurrence.latest < history.records_since)
            or (history.overridden_until is not None and occurrence.target <= history.overridden_until)
        )

    def until(self, history: History, day: date) -> Iterator[Occurrence]:
        """List every occurrence whose target is not after `day`."""
        if self.rule.spacing == "anchored":
            for occurrence in self.anchored():
                if occurrence.target > day:
                    return
                yield occurrence
            return
        if history.overridden_until == date.max:
            history = replace(history, overridden_until=None)
        finished, step = self._walk(history)
        yield from (occurrence for occurrence in finished if occurrence.target <= day)
        while step and step.occurrence.target <= day:
            yield step.occurrence
            after = step.index + step.occurrence.phase.once
            step = self._next(step.occurrence.target, step.occurrence.number + 1, after)

    def end(self) -> date | None:
        """Give the target of the last occurrence by the calendar, None for an open schedule."""
        if not self.phases or self.phases[-1].length is None:
            return None
        last = self.anchor
        for phase, start in self._starts():
            last = dates.add(self.anchor, start + phase.target)
        return last

    @cached_property
    def total(self) -> int | None:
        """Count the visits of the schedule, None for one without an end or counted from each visit."""
        if self.rule.spacing == "attendance" or not self.phases or self.phases[-1].length is None:
            return None
        return sum(1 for _ in self._starts())

    def anchored(self) -> Iterator[Occurrence]:
        """List the occurrences counted from the anchor alone."""
        for number, (phase, start) in enumerate(self._starts(), 1):
            yield _window(phase, self.anchor, start, number)

    def _starts(self) -> Iterator[tuple[Phase, dates.Duration]]:
        """Say how far from the anchor each interval begins; a visit on a phase end belongs to the earlier phase."""
        offset = dates.ZERO
        for phase in self.phases:
            end = offset + phase.length if phase.length is not None else None
            start, following = offset, offset + phase.target
            while end is None or dates.is_not_after(self.anchor, following, end):
                yield phase, start
                start, following = following, following + phase.target
                if phase.once:
                    break
            if end is not None:
                offset = end

    def _walk(self, history: History) -> tuple[list[Occurrence], _Step | None]:
        """What is finished, and where it stands now."""
        finished: list[Occurrence] = []
        step, used = self._next(self.anchor, 1, 0), 0
        while step:
            occurrence = step.occurrence
            # A visit completes one window only, however early the next one opens.
            visit = max(used, bisect_left(history.done, occurrence.earliest))
            if visit < len(history.done):
                base, used = history.done[visit], visit + 1
            elif self.is_set_aside(occurrence, history):
                base = occurrence.target
            else:
                return finished, step
            finished.append(occurrence)
            step = self._next(base, occurrence.number + 1, step.index + occurrence.phase.once)
        return finished, None

    def _next(self, base: date, number: int, first_phase: int) -> _Step | None:
        """Give the window after `base`; the phase is the one that runs on that day, its end tied to the anchor."""
        offset = dates.ZERO
        for index, phase in enumerate(self.phases):
            if phase.length is None:
                return _Step(_window(phase, base, dates.ZERO, number), index)
            offset = offset + phase.length
            end = dates.add(self.anchor, offset)
            if index < first_phase or end <= base:
                continue
            occurrence = _window(phase, base, dates.ZERO, number)
            if occurrence.target <= end:
                return _Step(occurrence, index)
            if dates.is_half_or_more(base, end, phase.target):
                return _Step(
                    Occurrence(number, min(occurrence.earliest, end), end, occurrence.latest, phase), index
                )
        return None


@dataclass(frozen=True, slots=True)
class _Step:
    occurrence: Occurrence
    index: int


def _window(phase: Phase, anchor: date, start: dates.Duration, number: int) -> Occurrence:
    target = dates.add(anchor, start + phase.target)
    if phase.short == phase.long:
        return Occurrence(
            number, dates.add(target, phase.early, -1), target, dates.add(target, phase.late), phase
        )
    earliest, latest = dates.add(anchor, start + phase.short), dates.add(anchor, start + phase.long)
    return Occurrence(number, earliest, target, latest, phase)
