"""Count the occurrences of one rule from one anchor, and find the first that is not finished."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

from scheduling.rules import dates
from scheduling.rules.plan.messages import Params
from scheduling.rules.ruleset.rule import Phase, Rule, Step, steps


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

    def counted_from(self, day: date) -> Series:
        """The same series anchored on another day and counted anew from each visit."""
        told = (self.subject, self.source_subject, self.of, self.head, self.about, self.known_on)
        return Series(self.rule, day, *told, self.phases, self.certain, True, self.revived_on)

    def is_discharged(self, history: History) -> bool:
        if not history.discharged:  # as nearly always
            return False
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
        for number, (phase, start, end) in enumerate(self._steps(), 1):
            target = dates.add(self.anchor, end)
            if last is not None and target <= last:
                continue  # its window opened before that visit, whenever exactly
            occurrence = self._window(phase, start, target, number)
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
        *_, last = [dates.ZERO, *(end for _, _, end in self._steps())]
        return dates.add(self.anchor, last)

    @property
    def total(self) -> int | None:
        """Count the visits of the schedule, None for one without an end or counted from each visit."""
        if self.rule.spacing == "attendance" or not self.phases or self.phases[-1].length is None:
            return None
        return len(tuple(self._steps()))

    def anchored(self) -> Iterator[Occurrence]:
        """List the occurrences counted from the anchor alone."""
        for number, (phase, start, end) in enumerate(self._steps(), 1):
            yield self._window(phase, start, dates.add(self.anchor, end), number)

    def _steps(self) -> Iterable[Step]:
        shared = self.rule.steps if self.phases is self.rule.phases else None
        return steps(self.phases, self.anchor) if shared is None else shared

    def _window(self, phase: Phase, start: dates.Duration, target: date, number: int) -> Occurrence:
        if not phase.is_range:
            return _around(target, phase, number)
        earliest, latest = (dates.add(self.anchor, start + span) for span in (phase.short, phase.long))
        return Occurrence(number, earliest, target, latest, phase)

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
                return _Step(_after(base, phase, number), index)
            offset = offset + phase.length
            end = dates.add(self.anchor, offset)
            if index < first_phase or end <= base:
                continue
            occurrence = _after(base, phase, number)
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


def _around(target: date, phase: Phase, number: int) -> Occurrence:
    return Occurrence(
        number, dates.add(target, phase.early, -1), target, dates.add(target, phase.late), phase
    )


def _after(base: date, phase: Phase, number: int) -> Occurrence:
    """The window that follows a visit or a day."""
    target = dates.add(base, phase.target)
    if not phase.is_range:
        return _around(target, phase, number)
    return Occurrence(number, dates.add(base, phase.short), target, dates.add(base, phase.long), phase)
