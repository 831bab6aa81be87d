"""Facts in, plan out (docs/domain.md): the same facts, rules and day always give the same answer."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from operator import attrgetter
from typing import TypeVar

from scheduling.rules import dates
from scheduling.rules.facts.facts import Closed, Facts
from scheduling.rules.plan import own_intervals, wording
from scheduling.rules.plan.fact_problems import contradictions
from scheduling.rules.plan.first_check import count_from_last_check
from scheduling.rules.plan.future_days import FutureDays
from scheduling.rules.plan.messages import Params, params
from scheduling.rules.plan.patient_rows import URGENT_RULE as URGENT_RULE
from scheduling.rules.plan.patient_rows import rest_of_skin, urgent_rows
from scheduling.rules.plan.plan import Due, Plan, Problem, Reason
from scheduling.rules.plan.series import History, Occurrence, Series
from scheduling.rules.plan.series_finder import CHECK, SeriesFinder, latest_decision
from scheduling.rules.ruleset import schedules
from scheduling.rules.ruleset.ruleset import RuleSet

__all__ = ["Due", "Plan", "Problem", "Reason", "plan", "upcoming"]

_What = TypeVar("_What")
Key = tuple[str, str]
State = tuple[Series, Occurrence | None]
# From which day on something is asked, and what: put into words only where it has begun.
Later = tuple[date, Callable[[], Problem]]
FOLLOWED = ("active", "ending")
_RANK = attrgetter("latest", "target", "rule", "of")
_ANSWERS = frozenset({"reassure", "look_again", "biopsy", "excise", "refer", "already_removed"})


@dataclass(frozen=True)
class _Answer:
    """What does not depend on the day: due rows, problems, and problems that begin on a later day."""

    due: list[Due]
    problems: list[Problem]
    later: list[Later]


def plan(facts: Facts, ruleset: RuleSet, today: date) -> Plan:
    """
    Plan one patient.

    Parameters
    ----------
    facts : Facts
        Everything known, as `facts.parse` reads it; the order of its lists does not matter.
    ruleset : RuleSet
        From `ruleset.load`.
    today : date
        The clinic's local day; decides which problems have begun and which recorded days are still to come.

    Returns
    -------
    Plan
        One due item per purpose and subject, ordered by latest day, purpose, subject, and problems where
        a person must answer. `valid_until` is the last day on which the same facts give the same plan.

    Notes
    -----
    docs/domain.md, "Facts in, plan out", points 1-14; docs/sources.md, "Dates".
    """
    coming = FutureDays(today)
    known = coming.settle(facts)
    answer = _Planner(known, ruleset).answer()
    begun = [ask() for day, ask in answer.later if day <= today]
    changes = [day for day, _ in answer.later if day > today]
    changes += [coming.next_day] if coming.next_day else []
    valid_until = min(changes) - timedelta(days=1) if changes else date.max
    problems = _in_order({*answer.problems, *begun, *coming.problems})
    due = sorted(answer.due, key=attrgetter("latest", "purpose", "subject"))
    if facts.patient.status not in FOLLOWED:
        due, problems = [], _not_followed(facts.patient.status, len(due), len(problems))
    elif not due and not problems:
        problems = [Problem("nothing_planned", "patient")]
    named = {"name": ruleset.name, "version": ruleset.version, "sha256": ruleset.sha256}
    return Plan(tuple(due), tuple(problems), valid_until, today, named)


def upcoming(facts: Facts, ruleset: RuleSet, today: date, until: date) -> list[Due]:
    """
    List every occurrence of every series from its start to `until`, for the year strip.

    Parameters
    ----------
    until : date
        The last target wanted, at most some decades away.

    Returns
    -------
    list of Due
        Past ones too, told apart by `number`; each carries the one reason of its own rule. Nothing for a
        patient who is not followed. Order: latest day, purpose, subject.
    """
    if facts.patient.status not in FOLLOWED:
        return []
    known = FutureDays(today).settle(facts)
    found = _Planner(known, ruleset).occurrences(max(today, until))
    return sorted(found, key=lambda item: (item.latest, item.purpose, item.subject, item.rule, item.number))


def _not_followed(status: str, due: int, problems: int) -> list[Problem]:
    if not due and not problems:
        return []
    said = params(status=status, due=due, problems=problems)
    return [Problem("not_followed", "patient", said)]


class _Planner:
    def __init__(self, facts: Facts, ruleset: RuleSet) -> None:
        self.facts = facts
        finder = SeriesFinder(facts, ruleset)
        found = finder.find()
        self.looser = finder.looser_checks
        self.problems, self.without_check = found.problems, found.without_check
        self.later: list[Later] = []
        self.groups: dict[Key, list[Series]] = defaultdict(list)
        self.histories: dict[Key, History] = {}
        self.days_done = _grouped(_days_done(facts))
        self.closed = _grouped(((item.purpose, item.subject), item) for item in facts.closed)
        for series in found.series:
            self.groups[series.rule.purpose, series.subject].append(series)

    def answer(self) -> _Answer:
        problems = [*self.problems, *contradictions(self.facts)]
        if self.without_check and not own_intervals.candidates(self.facts, (CHECK, "patient"), self.check()):
            problems += self.without_check
        self.problems = problems
        due = [item for key in self.keys() if (item := self.group(key))]
        return _Answer(_merged(due, self.built_in()), self.problems, self.later)

    def keys(self) -> list[Key]:
        return sorted({*self.groups, *own_intervals.keys(self.facts)})

    def check(self) -> History:
        return self.history((CHECK, "patient"))

    def built_in(self) -> list[Due]:
        """Plan what no rule set plans: urgent signs and concerns, and what a skin check left out."""
        return [*urgent_rows(self.facts), *rest_of_skin(self.facts)]

    def occurrences(self, until: date) -> list[Due]:
        found = [item for item in self.built_in() if item.target <= until]
        for key in self.keys():
            for series, history in self.counted(key):
                ended = history.discharged.get(series.key) if series.is_discharged(history) else None
                shown = (
                    one for one in series.until(history, min(until, ended or until)) if history.shows(one)
                )
                found += [_due(series, one, (_reason(series, one),)) for one in shown]
            found += own_intervals.following(self.facts, key, self.history(key), until)
        return found

    def counted(self, key: Key) -> Iterator[tuple[Series, History]]:
        """Give each series of a key as it is counted, with the history that counts for it."""
        history, risk = self.history(key), self.facts.patient.risk
        for series in self.groups.get(key, []):
            rolls = series.rule.anchor == "risk" and series.rule.spacing == "attendance"
            if rolls and risk is not None and key[0] == CHECK:
                series = count_from_last_check(series, history, risk, self.looser)
            # What was decided is done by its procedure alone: looking at the lesion again does not cut it out.
            counts = replace(history, done=()) if series.rule.anchor == "decision" else history
            reach = own_intervals.replaces_until(self.facts, key, series, counts)
            yield series, replace(counts, overridden_until=reach) if reach else counts

    def group(self, key: Key) -> Due | None:
        """Find the one open occurrence of a purpose and subject: the earliest latest day governs.

        The target is the earliest of all that is open, so that a further reason never moves it later.
        """
        history, counted = self.history(key), list(self.counted(key))
        chosen = own_intervals.candidates(self.facts, key, history)
        if self.facts.overrides:
            self.ask_about_overrides(key, history)
        states = [(series, series.first_open(seen)) for series, seen in counted]
        for (series, seen), (_, occurrence) in zip(counted, states, strict=True):
            self.what_follows(series, occurrence, seen, bool(chosen))
        open_ = [_due(series, occurrence, ()) for series, occurrence in states if occurrence]
        puts_off = self.facts.overrides and _puts_off(counted, states)
        put_off = own_intervals.reasons(self.facts, key, history) if puts_off else []
        reasons = [
            *(reason for item in chosen for reason in item.reasons),
            *_reasons(counted, states),
            *put_off,
        ]
        candidates = sorted([*chosen, *open_], key=_RANK)
        if not candidates:
            self.nothing_left(key, put_off)
            return None
        self.close_together(candidates[0], states, history)
        urgency = min((item.urgency for item in open_), default=candidates[0].urgency)
        return _governed(candidates, _once(_governing_first(reasons, candidates[0])), urgency)

    def ask_about_overrides(self, key: Key, history: History) -> None:
        self.problems += own_intervals.problems(self.facts, key)
        self.later += own_intervals.to_confirm(self.facts, key, history)

    def nothing_left(self, key: Key, put_off: list[Reason]) -> None:
        for reason in put_off:
            said = params(kind_of="what_follows_override", reason=reason.code, **dict(reason.params))
            self.problems.append(Problem("what_follows", key[1], said))

    def history(self, key: Key) -> History:
        if key not in self.histories:
            self.histories[key] = self.read_history(key)
        return self.histories[key]

    def read_history(self, key: Key) -> History:
        done, closed = tuple(sorted(set(self.days_done.get(key, ())))), self.closed.get(key)
        if not closed:
            return History(done, records_since=self.facts.patient.records_since)
        return History(
            done,
            frozenset((item.rule, item.of, item.anchor, item.number) for item in closed),
            _discharged(closed),
            self.facts.patient.records_since,
        )

    def what_follows(
        self, series: Series, occurrence: Occurrence | None, history: History, overridden: bool
    ) -> None:
        """Ask what follows a schedule that says “ask”: from its last occurrence on, and `notice` ahead of it."""
        if series.rule.then != "ask" or series.is_discharged(history):
            return
        end, standing = series.end(), history.overridden_until
        if end is None:
            return
        if standing == date.max or self.is_answered(series, occurrence, history):
            return
        begins = dates.add(max(end, standing or end), series.rule.notice, -1)
        if occurrence is None and not overridden:
            begins = date.min
        self.later.append((begins, partial(_what_follows, series, end)))

    def is_answered(self, series: Series, occurrence: Occurrence | None, history: History) -> bool:
        """Say whether a dermatologist's decision after the lesion's last planned picture says what follows."""
        if occurrence is not None or not series.source_subject.startswith("lesion:"):
            return False
        decision = latest_decision(self.facts, series.source_subject.removeprefix("lesion:"))
        if decision is None or decision.decision not in _ANSWERS:
            return False
        return decision.on > series.anchor and decision.on >= (history.last_done or series.anchor)

    def close_together(self, first: Due, states: list[State], history: History) -> None:
        """Ask the dermatologist after a late or an extra visit whether the next one still stands."""
        last = history.last_done
        if last is None:
            return
        governing = [
            (series, one)
            for series, one in states
            if one and (series.rule.id, series.of) == (first.rule, first.of)
        ]
        for series, occurrence in governing:
            if last <= series.anchor or last >= occurrence.target:
                return
            if not dates.is_half_or_more(last, occurrence.target, occurrence.phase.target):
                said = params(day=str(last), next=str(occurrence.target), title=series.rule.title)
                self.problems.append(Problem("visits_close_together", series.subject, said))


def _grouped(rows: Iterable[tuple[Key, _What]]) -> dict[Key, list[_What]]:
    found: dict[Key, list[_What]] = {}
    for key, what in rows:
        found.setdefault(key, []).append(what)
    return found


def _days_done(facts: Facts) -> Iterator[tuple[Key, date]]:
    """Days of completion; a risk assessment is done by its record alone, a picture also by being there."""
    for item in facts.done:
        if item.purpose != "risk_assessment":
            yield (item.purpose, item.subject), item.on
    if facts.patient.risk:
        yield ("risk_assessment", "patient"), facts.patient.risk.assessed_on
    for lesion in facts.lesions:
        if lesion.last_image_on:
            yield ("lesion_image", f"lesion:{lesion.id}"), lesion.last_image_on


def _what_follows(series: Series, end: date) -> Problem:
    rule = series.rule
    said = params(
        title=rule.title,
        head=series.head,
        day=str(end),
        rule=rule.id,
        of=series.of,
        purpose=rule.purpose,
        subject=series.subject,
        every=dates.format(series.phases[-1].target),
        **dict(series.about),
    )
    return Problem("what_follows", series.source_subject, said)


def _is_put_off(series: Series, seen: History, occurrence: Occurrence | None) -> bool:
    """Say whether another occurrence would be open without a clinician's own interval or day."""
    if seen.overridden_until is None:
        return False
    return series.first_open(replace(seen, overridden_until=None)) != occurrence


def _puts_off(counted: list[tuple[Series, History]], states: list[State]) -> bool:
    pairs = zip(counted, states, strict=True)
    return any(_is_put_off(*one, occurrence) for one, (_, occurrence) in pairs)


def _reasons(counted: list[tuple[Series, History]], states: list[State]) -> list[Reason]:
    """Give one reason for every rule that matched, also where nothing of it is open."""
    return [
        _reason(series, occurrence, replaced=occurrence is None and _is_put_off(series, seen, None))
        for (series, seen), (_, occurrence) in zip(counted, states, strict=True)
    ]


def _discharged(closed: list[Closed]) -> dict[tuple[str, str], date]:
    found: dict[tuple[str, str], date] = {}
    for item in closed:
        if item.ground == "discharge":
            key = item.rule, item.of
            found[key] = max(found.get(key, item.on), item.on)
    return found


def _governed(candidates: list[Due], reasons: tuple[Reason, ...], urgency: str) -> Due:
    """Take the candidate that governs, as early as the earliest of the others wants it."""
    first = candidates[0]
    soonest = min(candidates, key=attrgetter("target")) if len(candidates) > 1 else first
    what = (first.purpose, first.subject, first.rule, first.of, first.anchor, first.number)
    earliest = min(first.earliest, soonest.earliest)
    return Due(*what, earliest, soonest.target, first.latest, urgency, reasons)


def _merged(planned: list[Due], built_in: list[Due]) -> list[Due]:
    """Merge the rows of one purpose and subject: the earliest latest day governs, every reason is kept."""
    if not built_in:
        return planned
    found = {(item.purpose, item.subject): item for item in planned}
    for item in built_in:
        other = found.get((item.purpose, item.subject))
        rows = sorted([item, *([other] if other else [])], key=_RANK)
        reasons = _once([reason for row in rows for reason in row.reasons])
        urgency = min(row.urgency for row in rows)
        found[item.purpose, item.subject] = _governed(rows, reasons, urgency)
    return list(found.values())


def _due(series: Series, occurrence: Occurrence, reasons: tuple[Reason, ...]) -> Due:
    rule, one = series.rule, occurrence
    what = (rule.purpose, series.subject, rule.id, series.of, series.anchor, one.number)
    return Due(*what, one.earliest, one.target, one.latest, rule.urgency, reasons)


def _reason(series: Series, occurrence: Occurrence | None, replaced: bool = False) -> Reason:
    code, values = _said(series, occurrence, replaced)
    certain: Params = () if series.certain else (("certain", False),)
    said = tuple(sorted((*series.about, ("head", series.head), *certain, *values)))
    return Reason(series.rule.id, series.of, code, said, wording.source_words(series.rule), series.anchor)


def _said(series: Series, occurrence: Occurrence | None, replaced: bool) -> tuple[str, Params]:
    if occurrence is None:
        return ("replaced" if replaced else "over"), ()
    phase = occurrence.phase
    if phase.once and not phase.target:
        return ("first_check" if series.rule.purpose == CHECK else "once"), (("schedule", schedules.NOW),)
    schedule, total = ("schedule", phase.code), series.total
    if phase.once:
        return "once", (schedule,)
    number = ("number", occurrence.number)
    if total is None:
        return "visit_without_end", (number, schedule)
    return "visit", (number, schedule, ("total", total))


def _governing_first(reasons: list[Reason], first: Due) -> list[Reason]:
    if len(reasons) < 2:
        return reasons
    return sorted(reasons, key=lambda reason: (reason.rule, reason.of) != (first.rule, first.of))


def _in_order(problems: set[Problem]) -> list[Problem]:
    """By code, subject and sentence; two of one sentence by what they carry, so that the order is always the same."""
    if len(problems) < 2:
        return list(problems)
    return sorted(problems, key=attrgetter("code", "subject", "text", "params"))


def _once(reasons: list[Reason]) -> tuple[Reason, ...]:
    return tuple(dict.fromkeys(reasons)) if len(reasons) > 1 else tuple(reasons)
