"""Facts in, plan out (domain.md): the same facts, rules and day always give the same answer."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta

from scheduling.rules import dates
from scheduling.rules.facts.facts import Facts, UrgentSign
from scheduling.rules.plan import own_intervals, wording
from scheduling.rules.plan.plan import Due, Plan, Problem, Reason
from scheduling.rules.plan.series import History, Occurrence, Series
from scheduling.rules.plan.series_finder import Surveyor, latest_decision, unexamined
from scheduling.rules.ruleset.ruleset import RuleSet

__all__ = ["Due", "Plan", "Problem", "Reason", "plan", "upcoming"]

Key = tuple[str, str]
State = tuple[Series, Occurrence | None]
URGENT_RULE = "urgent-sign"
URGENT_SOURCE = (
    "Optimal care pathway for people with melanoma, 2nd ed., section 2.1 (elevated, firm, growing); "
    "latest day: 2 weeks, NICE NG12"
)
_URGENT_WITHIN = dates.Duration(days=14)
_ANSWERS = frozenset({"reassure", "look_again", "biopsy", "excise", "refer", "already_removed"})


@dataclass(frozen=True)
class _Answer:
    """What does not depend on the day: due items, problems, and problems that begin on a later day."""

    due: list[Due]
    problems: list[Problem]
    later: list[tuple[date, Problem]]


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
        The clinic's local day; decides only which problems have begun, never a due date.

    Returns
    -------
    Plan
        One due item per purpose and subject, ordered by latest day, purpose, subject, and problems where
        a person must answer. `valid_until` is the last day on which the same facts give the same plan.

    Notes
    -----
    domain.md "Facts in, plan out", points 1-9; clinical.md §9, conventions.
    """
    answer = _Planner(facts, ruleset).answer()
    begun = [problem for day, problem in answer.later if day <= today]
    changes = [day for day, _ in answer.later if day > today]
    valid_until = min(changes) - timedelta(days=1) if changes else date.max
    problems = sorted(set(answer.problems + begun))
    due = sorted(answer.due, key=lambda item: (item.latest, item.purpose, item.subject))
    if facts.patient.status != "active":
        due, problems = [], _not_followed(facts.patient.status, len(due), len(problems))
    named = {"name": ruleset.name, "version": ruleset.version, "sha256": ruleset.sha256}
    return Plan(tuple(due), tuple(problems), valid_until, today, named)


def upcoming(facts: Facts, ruleset: RuleSet, today: date, until: date) -> list[Due]:
    """
    Every occurrence of every series from its start to `until`, for the strip of the year.

    Parameters
    ----------
    until : date
        The last target wanted, at most some decades away.

    Returns
    -------
    list of Due
        Past ones too, told apart by `number`; each carries the one reason of its own rule. Nothing for a
        patient who is not active. Order: latest day, purpose, subject.
    """
    if facts.patient.status != "active":
        return []
    found = _Planner(facts, ruleset).occurrences(max(today, until))
    return sorted(found, key=lambda item: (item.latest, item.purpose, item.subject, item.rule, item.number))


def _not_followed(status: str, due: int, problems: int) -> list[Problem]:
    if not due and not problems:
        return []
    word = {"deceased": "has died", "transferred": "is followed elsewhere"}.get(status, "was discharged")
    text = f"The patient {word}; nothing is planned. Open until then: {due} due, {problems} to decide."
    return [Problem("not_followed", "patient", text)]


class _Planner:
    def __init__(self, facts: Facts, ruleset: RuleSet) -> None:
        self.facts = facts
        found = Surveyor(facts, ruleset).survey()
        self.problems, self.without_check = found.problems, found.without_check
        self.later: list[tuple[date, Problem]] = []
        self.groups: dict[Key, list[Series]] = defaultdict(list)
        for series in found.series:
            self.groups[series.rule.purpose, series.subject].append(series)

    def answer(self) -> _Answer:
        if self.without_check and not self.states(("full_skin_check", "patient"))[2]:
            self.problems += self.without_check
        due = [item for key in self.keys() if (item := self.group(key))]
        return _Answer(_merged(due, self.urgent()), self.problems, self.later)

    def keys(self) -> list[Key]:
        return sorted({*self.groups, *own_intervals.keys(self.facts)})

    def occurrences(self, until: date) -> list[Due]:
        found = [item for item in self.urgent() if item.target <= until]
        for key in self.keys():
            history, states, _ = self.states(key)
            for series, _ in states:
                last_day = min(until, history.discharged_on or until) if _is_over(series, history) else until
                shown = (one for one in series.until(history, last_day) if history.shows(one))
                found += [_due(series, one, series.rule.urgency, (_reason(series, one),)) for one in shown]
            found += own_intervals.following(self.facts, key, self.groups.get(key, []), history, until)
        return found

    def states(self, key: Key) -> tuple[History, list[State], list[Due]]:
        """Each series with its first unfinished occurrence, and the overrides that stand."""
        history, series = self.history(key), self.groups.get(key, [])
        chosen: list[Due] = []
        seen = history
        if self.facts.overrides:
            chosen = own_intervals.candidates(self.facts, key, series, history)
            seen = replace(history, overridden_until=own_intervals.until(self.facts, key))
        states: list[State] = []
        for one in series:
            moved = _from_last_visit(one, seen, self.begun(one, seen))
            states.append((moved, None if _is_over(one, seen) else moved.first_open(seen)))
        return seen, sorted(states, key=_order), sorted(chosen, key=_rank)

    def begun(self, series: Series, history: History) -> date | None:
        """Since when a tier has asked for checks: assessing it again begins nothing anew, ending it does."""
        risk = self.facts.patient.risk
        if risk is None or risk.since is None or series.rule.purpose != "full_skin_check":
            return None
        ended = history.discharged_on
        return None if ended is not None and ended >= risk.since else risk.since

    def group(self, key: Key) -> Due | None:
        """The one open occurrence of a purpose and subject: the earliest latest day governs."""
        history, states, chosen = self.states(key)
        self.own_problems(key)
        for series, occurrence in states:
            self.what_follows(series, occurrence, history, bool(chosen))
        reasons = [_reason(*state, replaced=_is_replaced(*state, history)) for state in states]
        still_open = [(series, occurrence) for series, occurrence in states if occurrence]
        urgency = min((series.rule.urgency for series, _ in still_open), default="B")
        if chosen:
            own = [reason for item in chosen for reason in item.reasons]
            return replace(chosen[0], reasons=_once(own + reasons), urgency=urgency)
        put_off = self.put_off(key, history, states)
        if not still_open:
            self.nothing_left(key, put_off)
            return None
        reasons += put_off
        series, occurrence = still_open[0]
        self.close_together(series, occurrence, history)
        return _due(series, occurrence, urgency, _once(reasons))

    def own_problems(self, key: Key) -> None:
        """Where a clinician's own interval or day contradicts the rules or the facts, a person must answer."""
        if self.facts.overrides:
            found = own_intervals.problems(self.facts, key, self.groups.get(key, []), self.history(key))
            self.problems += found

    def put_off(self, key: Key, history: History, states: list[State]) -> list[Reason]:
        """Overrides that name no day themselves any more and yet stand in the place of a rule's one."""
        if history.overridden_until is None:
            return []
        without = replace(history, overridden_until=None)
        if all(series.first_open(without) == occurrence for series, occurrence in states):
            return []
        return own_intervals.reasons(self.facts, key, [series for series, _ in states], history)

    def nothing_left(self, key: Key, put_off: list[Reason]) -> None:
        for reason in put_off:
            text = f"{reason.text}. It stands in the place of the last planned day and names none: say what follows."
            self.problems.append(Problem("what_follows", key[1], text))

    def history(self, key: Key) -> History:
        closed = [item for item in self.facts.closed if (item.purpose, item.subject) == key]
        return History(
            tuple(sorted(self.done(key))),
            frozenset((item.anchor, item.number) for item in closed),
            frozenset(item.anchor for item in closed if item.ground == "discharge"),
            max((item.on for item in closed if item.ground == "discharge"), default=None),
            self.facts.patient.records_since,
        )

    def done(self, key: Key) -> set[date]:
        """Days of completion; a risk assessment is done by its record alone, a picture also by being there."""
        purpose, subject = key
        if purpose == "risk_assessment":
            return {risk.assessed_on} if (risk := self.facts.patient.risk) else set()
        days = {item.on for item in self.facts.done if (item.purpose, item.subject) == key}
        if purpose == "lesion_image":
            mine = (lesion for lesion in self.facts.lesions if f"lesion:{lesion.id}" == subject)
            days |= {lesion.last_image_on for lesion in mine if lesion.last_image_on}
        return days

    def what_follows(
        self, series: Series, occurrence: Occurrence | None, history: History, overridden: bool
    ) -> None:
        """A schedule that says “ask” is a problem from its last occurrence on, and `notice` ahead of it."""
        end, standing = series.end(), history.overridden_until
        if series.rule.then != "ask" or end is None or series.anchor in history.discharged:
            return
        if standing == date.max or self.is_answered(series, occurrence, history):
            return
        begins = dates.add(max(end, standing or end), series.rule.notice, -1)
        if occurrence is None and not overridden:
            begins = date.min
        text = f"{series.rule.title}, {series.about}: the schedule ends on {end}; say what follows."
        self.later.append((begins, Problem("what_follows", series.source_subject, text)))

    def is_answered(self, series: Series, occurrence: Occurrence | None, history: History) -> bool:
        """A dermatologist's decision on the lesion after its last planned picture says what follows."""
        if occurrence is not None or not series.source_subject.startswith("lesion:"):
            return False
        decision = latest_decision(self.facts, series.source_subject.removeprefix("lesion:"))
        if decision is None or decision.decision not in _ANSWERS:
            return False
        return decision.on > series.anchor and decision.on >= (history.last_done or series.anchor)

    def close_together(self, series: Series, occurrence: Occurrence, history: History) -> None:
        """After a late or an extra visit the dermatologist is asked whether the next one still stands."""
        last, interval = history.last_done, occurrence.phase.target
        if last is None or last <= series.anchor or last >= occurrence.target:
            return
        if not dates.is_half_or_more(last, occurrence.target, interval):
            planned = f"next planned for {occurrence.target} by {series.rule.title}"
            text = f"Seen on {last}, {planned}: keep or move it?"
            self.problems.append(Problem("visits_close_together", series.subject, text))

    def urgent(self) -> list[Due]:
        """A raised, firm, growing or bleeding lesion is urgent work until it was examined in person."""
        found = []
        for lesion in self.facts.lesions:
            signs = unexamined(self.facts, lesion)
            item = _urgent_due(lesion.id, signs) if signs else None
            if item and (item.anchor, 1) not in self.history((item.purpose, item.subject)).closed:
                found.append(item)
        return found


def _urgent_due(lesion_id: str, signs: list[UrgentSign]) -> Due:
    noted, words = signs[0].on, ", ".join(dict.fromkeys(sign.sign for sign in signs))
    text = f"Noted on {noted}: {words}. No waiting for a later picture: examination in person."
    return Due(
        purpose="lesion_examination",
        subject=f"lesion:{lesion_id}",
        rule=URGENT_RULE,
        anchor=noted,
        number=1,
        earliest=noted,
        target=noted,
        latest=dates.add(noted, _URGENT_WITHIN),
        urgency="A",
        reasons=(Reason(URGENT_RULE, text, URGENT_SOURCE, noted),),
    )


def _merged(planned: list[Due], urgent: list[Due]) -> list[Due]:
    """One row per purpose and subject: the urgent one governs and takes the other's reasons with it."""
    found = {(item.purpose, item.subject): item for item in planned}
    for item in urgent:
        other = found.get((item.purpose, item.subject))
        reasons = [*item.reasons, *(other.reasons if other else ())]
        found[item.purpose, item.subject] = replace(item, reasons=_once(reasons))
    return list(found.values())


def _from_last_visit(series: Series, history: History, begun: date | None) -> Series:
    """A tier's rolling interval runs from the last visit, or from the day it began: an assessment alone moves no date.

    A discharge ends what went before it: a visit up to that day counts no more.
    """
    if series.rule.anchor != "risk" or series.rule.spacing != "attendance":
        return series
    last, ended = history.last_done, history.discharged_on
    if last is not None and (ended is None or last > ended):
        return replace(series, anchor=last)
    return replace(series, anchor=begun or series.anchor)


def _is_over(series: Series, history: History) -> bool:
    if series.rule.anchor == "risk":
        return history.discharged_on is not None and history.discharged_on >= series.anchor
    return series.anchor in history.discharged


def _due(series: Series, occurrence: Occurrence, urgency: str, reasons: tuple[Reason, ...]) -> Due:
    return Due(
        purpose=series.rule.purpose,
        subject=series.subject,
        rule=series.rule.id,
        anchor=series.anchor,
        number=occurrence.number,
        earliest=occurrence.earliest,
        target=occurrence.target,
        latest=occurrence.latest,
        urgency=urgency,
        reasons=reasons,
    )


def _is_replaced(series: Series, occurrence: Occurrence | None, history: History) -> bool:
    """Nothing of it is open, and without the clinician's decision something would be."""
    if occurrence is not None or history.overridden_until is None:
        return False
    return series.first_open(replace(history, overridden_until=None)) is not None


def _reason(series: Series, occurrence: Occurrence | None, replaced: bool = False) -> Reason:
    if occurrence is None:
        said = "a clinician decided otherwise" if replaced else "its schedule is over"
    else:
        said = f"number {occurrence.number}, target {occurrence.target}"
        said = f"{wording.phase_words(occurrence.phase)}, {said}" if occurrence.phase.target else said
    doubt = "" if series.certain else " (may apply: a fact is missing)"
    text = f"{series.rule.title}, {series.about}: {said}{doubt}"
    return Reason(series.rule.id, text, wording.source_words(series.rule), series.anchor)


def _order(state: State) -> tuple[date, date, str, date, str]:
    series, occurrence = state
    latest, target = (occurrence.latest, occurrence.target) if occurrence else (date.max, date.max)
    return latest, target, series.rule.id, series.anchor, series.source_subject


def _rank(due: Due) -> tuple[date, date, str]:
    return due.latest, due.target, due.rule


def _once(reasons: list[Reason]) -> tuple[Reason, ...]:
    return tuple(dict.fromkeys(reasons))
