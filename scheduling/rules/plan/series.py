"""One rule on one anchor: its occurrences, and the first that is not finished."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date

from scheduling.rules import dates
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
    """What has happened to one purpose and subject."""

    done: tuple[date, ...] = ()
    closed: frozenset[tuple[date, int]] = frozenset()
    discharged: frozenset[date] = frozenset()
    discharged_on: date | None = None
    records_since: date | None = None
    overridden_until: date | None = None

    @property
    def last_done(self) -> date | None:
        return self.done[-1] if self.done else None

    def shows(self, occurrence: Occurrence) -> bool:
        """Whether it belongs on a time line: it was visited, or no override stands in its place."""
        visited = self.last_done is not None and occurrence.earliest <= self.last_done
        return visited or self.overridden_until is None or occurrence.target > self.overridden_until

    def is_set_aside(self, anchor: date, occurrence: Occurrence) -> bool:
        """Finished without a visit: closed, before the records begin, or replaced by an override."""
        return (
            (anchor, occurrence.number) in self.closed
            or (self.records_since is not None and occurrence.latest < self.records_since)
            or (self.overridden_until is not None and occurrence.target <= self.overridden_until)
        )


@dataclass(frozen=True)
class Series:
    """`about` names the fact in words; `source_subject` is whose problem a missing answer is."""

    rule: Rule
    anchor: date
    subject: str
    source_subject: str
    about: str
    phases: tuple[Phase, ...] = field(default=())
    certain: bool = True

    def first_open(self, history: History) -> Occurrence | None:
        """The first unfinished occurrence, also when it is long past; None when the schedule is over."""
        if self.anchor in history.discharged or history.overridden_until == date.max:
            return None
        if self.rule.spacing == "attendance":
            step = self._walk(history)[1]
            return step.occurrence if step else None
        last = history.last_done
        for occurrence in self.anchored():
            if (last is None or occurrence.earliest > last) and not history.is_set_aside(
                self.anchor, occurrence
            ):
                return occurrence
        return None

    def until(self, history: History, day: date) -> Iterator[Occurrence]:
        """Every occurrence from the first on whose target is not after `day`."""
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
        """The target of the last occurrence by the calendar, None for an open schedule."""
        if not self.phases or self.phases[-1].length is None:
            return None
        last = self.anchor
        for occurrence in self.anchored():
            last = occurrence.target
        return last

    def anchored(self) -> Iterator[Occurrence]:
        """Occurrences counted from the anchor alone; a visit on a phase end belongs to the earlier phase."""
        offset, number = dates.ZERO, 0
        for phase in self.phases:
            end = dates.add(self.anchor, offset + phase.length) if phase.length is not None else None
            start = offset
            while end is None or dates.add(self.anchor, start + phase.target) <= end:
                number += 1
                yield _window(phase, self.anchor, start, number)
                start = start + phase.target
                if phase.once:
                    break
            if phase.length is not None:
                offset = offset + phase.length

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
            elif history.is_set_aside(self.anchor, occurrence):
                base = occurrence.target
            else:
                return finished, step
            finished.append(occurrence)
            step = self._next(base, occurrence.number + 1, step.index + occurrence.phase.once)
        return finished, None

    def _next(self, base: date, number: int, first_phase: int) -> _Step | None:
        """The window after `base`; the phase is the one that runs on that day, its end tied to the anchor."""
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
