"""Write the engine's answers in English: one template for each code; days as 31 Jan 2025.

Reasons and problems carry a code and its parameters; only pages, print and the command line need the sentence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from typing import Final

from scheduling.rules.ruleset.schedules import schedule_words

Value = str | int | bool
Params = tuple[tuple[str, Value], ...]

_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")

# What a series comes from; each reason begins with one of these.
HEADS: Final[dict[str, str]] = {
    "diagnosis": "{name} excised {day}",
    "diagnosis_reported": "{name} reported {day}",
    "risk": "Risk tier {tier} since {day}",
    "no_assessment": "No risk assessment on record",
    "lesion": "{monitoring}-term monitoring since {day}",
    "look_again": "Decided {day}: look again in {months}",
    "decision": "Decided {day}: {decision}",
    "procedure": "{kind} of {day}",
}
REASONS: Final[dict[str, str]] = {
    "visit": "visit {number} of {total}, {schedule}",
    "visit_without_end": "visit {number}, {schedule}",
    "once": "{schedule}",
    "first_check": "first full skin check, as none is on record within the tier's interval",
    "over": "its schedule is over",
    "replaced": "a clinician's own interval or day stands in its place",
    "urgent_sign": "Noted on {day}: {signs}. No waiting for a later picture: examination in person.",
    "concern": "Reported on {day}: {signs}. No lesion is named: examination in person.",
    "own_interval": "{by} decided on {decided} every {every}: {words}. It speaks for what was known on that day.",
    "own_interval_until": "{by} decided on {decided} every {every} until {until}: {words}. "
    "It speaks for what was known on that day.",
    "own_day": "{by} decided on {decided} on {day}: {words}. It speaks for what was known on that day.",
    "rest_of_skin": "Not seen on {day}: {regions}.",
}
# Why a rule that matched asks for nothing just now: it stands beside the reasons and is none.
NO_REASON: Final = frozenset({"over", "replaced"})
MAY_APPLY: Final = " (may apply: a fact is missing)"
PROBLEMS: Final[dict[str, str]] = {
    "no_rule": "No rule of the set applies to {about}.",
    "no_rule_sutures": "No rule of the set says when the sutures of the {about} come out at its site.",
    "no_rule_grade": "No published interval is known for a severely dysplastic naevus ({about}); "
    "the checks of the tier go on. Re-excision: your decision (from memory, to be confirmed).",
    "no_rule_transplant": "No published interval is known for the skin checks after a transplant; "
    "the checks of the tier go on.",
    "no_rule_several_scc": "No published interval is known after {count} squamous cell carcinomas; "
    "the checks of each and of the tier go on.",
    "missing_fact": "Which rule applies to {about} is not certain: a fact is missing. "
    "Until then the strictest that may apply is kept.",
    "grade_missing": "The grade of the dysplastic naevus ({about}) is not recorded.",
    "no_anchor": "{about} has no day to count from; until it has, it is followed from {day}.",
    "no_anchor_lesion": "{about} has no day to count from.",
    "contradiction": "The diagnosis is {name}, yet {said}.",
    "stage_contradiction": "Stage {stated} is stated, but {given} gives {stages}.",
    "cannot_stage": "The stage cannot be worked out: {why}. It may be {stages}.",
    "cannot_stage_stated": "The stage cannot be worked out: {why}. Stage {stated} is stated and used.",
    "stage_at_least": "Stage {stage} or higher: {why}. It is planned as the strictest of {stages}.",
    "tier_contradicts_diagnosis": "The risk tier is average, and {about} is on record: assess the risk again.",
    "risk_assessment_missing": "There is no risk assessment on record, and {why}.",
    "no_interval": "The decision of {day} to look again says no number of months.",
    "unknown_lesion": "{what} names lesion {lesion}, which is not on record.",
    "unknown_subject": "{what} names {about}, which is not on record.",
    "decision_against_state": "{decision} was decided on {day} and is not done, yet the lesion stands as {state}.",
    "state_without_decision": "The lesion stands as “biopsy decided”, and no decision says so.",
    "watched_without_plan": "The lesion is watched, with neither a monitoring interval nor a decision.",
    "future_day": "{what} is dated {day}, which is to come: it counts for nothing yet.",
    "future_day_counts": "{what} is dated {day}, which is to come: it counts from today.",
    "sutures_unknown": "Whether the {about} left sutures to remove is not recorded.",
    "sutures_site_unknown": "The site of the {about} is not recorded, so no rule says when its sutures come out.",
    "sutures_contradiction": "A day is set for the sutures of the {about}, and none were left: "
    "end the one or correct the other.",
    "override_contradiction": "The day set by {by}, {day}, lies after its own end on {until}.",
    "own_interval_to_confirm": "{by} set every {every} on {decided}, without an end: does it still stand?",
    "what_follows": "{about}: the schedule ends on {day}; say what follows.",
    "what_follows_override": "{words} It stands in the place of the last planned day and names none: say what follows.",
    "visits_close_together": "Seen on {day}, next planned for {next} by {title}: keep or move it?",
    "not_followed": "The patient {status}; nothing is planned. Open until then: {due} due, {problems} to decide.",
    "nothing_planned": "Nothing is planned and nothing is asked: say what follows, or end the care.",
}


def params(**values: Value | None) -> Params:
    """Put parameters in the order of their names; what is None is left out."""
    return tuple(sorted([(name, value) for name, value in values.items() if value is not None]))


def write_day(day: date) -> str:
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def _in_words(value: Value) -> Value:
    if isinstance(value, str) and _DAY.fullmatch(value):
        return write_day(date.fromisoformat(value))
    return value


def fill(template: str, values: Mapping[str, Value]) -> str:
    """Fill a template with its parameters; values that are days are written in words."""
    return template.format(**{name: _in_words(value) for name, value in values.items()})


# A sentence is asked for more than once: for the order of problems, the stored plan and its recalls.
@lru_cache(maxsize=1024)
def reason_text(code: str, given: Params) -> str:
    """Write a reason as one sentence: where it comes from, and what is planned."""
    values = dict(given)
    if "schedule" in values:
        values["schedule"] = schedule_words(str(values["schedule"]))
    body = fill(REASONS[code], values)
    head = values.get("head")
    doubt = MAY_APPLY if values.get("certain") is False else ""
    begun = f"{_first_capital(fill(HEADS[str(head)], values))}: " if head else ""
    return f"{begun}{body}{doubt}"


@lru_cache(maxsize=1024)
def problem_text(code: str, given: Params) -> str:
    values = dict(given)
    return _first_capital(fill(PROBLEMS[str(values.get("kind_of", code))], values))


def _first_capital(text: str) -> str:
    return text[:1].upper() + text[1:]
