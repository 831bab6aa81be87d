"""What the engine answers, in words: one template for each code, put into a language where somebody reads it.

Reasons and problems carry a code and its parameters; only pages, print and the command line need the sentence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from functools import lru_cache
from typing import Final

from clinic.formats.days import write_day
from clinic.formats.language import ENGLISH, Language, alternatives, gettext_noop
from scheduling.rules import dates
from scheduling.rules.facts.code_words import ABOUT, CHOICES, LISTS, WHAT, WORDS
from scheduling.rules.ruleset.schedules import duration_words, schedule_words

Value = str | int | bool
Params = tuple[tuple[str, Value], ...]

_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")

# What a series comes from; each reason begins with one of these.
HEADS: Final[dict[str, str]] = {
    "diagnosis": gettext_noop("{diagnosis} excised {since}"),
    "diagnosis_reported": gettext_noop("{diagnosis} reported {since}"),
    "risk": gettext_noop("Risk tier {tier} since {since}"),
    "no_assessment": gettext_noop("No risk assessment on record"),
    "lesion": gettext_noop("{monitoring}-term monitoring since {since}"),
    "look_again": gettext_noop("Decided {since}: look again in {months}"),
    "decision": gettext_noop("Decided {since}: {decision}"),
    "procedure": gettext_noop("{kind} of {since}"),
}
REASONS: Final[dict[str, str]] = {
    "visit": gettext_noop("visit {number} of {total}, {schedule}"),
    "visit_without_end": gettext_noop("visit {number}, {schedule}"),
    "once": gettext_noop("{schedule}"),
    "first_check": gettext_noop("first full skin check, as none is on record within the tier's interval"),
    "over": gettext_noop("its schedule is over"),
    "replaced": gettext_noop("a clinician's own interval or day stands in its place"),
    "urgent_sign": gettext_noop(
        "Noted on {day}: {signs}. No waiting for a later picture: examination in person."
    ),
    "concern": gettext_noop("Reported on {day}: {signs}. No lesion is named: examination in person."),
    "own_interval": gettext_noop(
        "{by} decided on {decided} every {every}: {words}. It speaks for what was known on that day."
    ),
    "own_interval_until": gettext_noop(
        "{by} decided on {decided} every {every} until {until}: {words}. "
        "It speaks for what was known on that day."
    ),
    "own_day": gettext_noop(
        "{by} decided on {decided} on {day}: {words}. It speaks for what was known on that day."
    ),
    "rest_of_skin": gettext_noop("Not seen on {day}: {regions}."),
}
# Why a rule that matched asks for nothing just now: it stands beside the reasons and is none.
NO_REASON: Final = frozenset({"over", "replaced"})
MAY_APPLY: Final = gettext_noop("{reason} (may apply: a fact is missing)")
PROBLEMS: Final[dict[str, str]] = {
    "no_rule": gettext_noop("No rule of the set applies to {about}."),
    "no_rule_sutures": gettext_noop(
        "No rule of the set says when the sutures of the {about} come out at its site."
    ),
    "no_rule_grade": gettext_noop(
        "No published interval is known for a severely dysplastic naevus ({about}); "
        "the checks of the tier go on. Re-excision: your decision (from memory, to be confirmed)."
    ),
    "no_rule_transplant": gettext_noop(
        "No published interval is known for the skin checks after a transplant; the checks of the tier go on."
    ),
    "no_rule_several_scc": gettext_noop(
        "No published interval is known after {count} squamous cell carcinomas; "
        "the checks of each and of the tier go on."
    ),
    "missing_fact": gettext_noop(
        "Which rule applies to {about} is not certain: a fact is missing. "
        "Until then the strictest that may apply is kept."
    ),
    "grade_missing": gettext_noop("The grade of the dysplastic naevus ({about}) is not recorded."),
    "no_anchor": gettext_noop("{about} has no day of definitive excision; until it has, it is followed from {day}."),
    "no_anchor_lesion": gettext_noop("{about} has no day from which it is watched."),
    "contradiction": gettext_noop("The diagnosis is {diagnosis}, yet {said}."),
    "stage_contradiction": gettext_noop("Stage {stated} is stated, but {t}, {n}, {m} gives {stages}."),
    "cannot_stage": gettext_noop("The stage cannot be worked out: {why}. It may be {stages}."),
    "cannot_stage_stated": gettext_noop(
        "The stage cannot be worked out: {why}. Stage {stated} is stated and used."
    ),
    "stage_at_least": gettext_noop(
        "Stage {stage} or higher: {why}. It is planned as the strictest of {stages}."
    ),
    "tier_contradicts_diagnosis": gettext_noop(
        "The risk tier is average, and {about} is on record: assess the risk again."
    ),
    "risk_assessment_missing": gettext_noop("There is no risk assessment on record, and {why}."),
    "no_interval": gettext_noop("The decision of {day} to look again says no number of months."),
    "unknown_lesion": gettext_noop("{what} names lesion {lesion}, which is not on record."),
    "unknown_subject": gettext_noop("{what} names {about}, which is not on record."),
    "decision_against_state": gettext_noop(
        "{decision} was decided on {day} and is not done, yet the lesion stands as {state}."
    ),
    "state_without_decision": gettext_noop("The lesion stands as “biopsy decided”, and no decision says so."),
    "watched_without_plan": gettext_noop(
        "The lesion is watched, with neither a monitoring interval nor a decision."
    ),
    "future_day": gettext_noop("{what} is dated {day}, which is to come: it counts for nothing yet."),
    "future_day_counts": gettext_noop("{what} is dated {day}, which is to come: it counts from today."),
    "sutures_unknown": gettext_noop("Whether the {about} left sutures to remove is not recorded."),
    "sutures_site_unknown": gettext_noop(
        "The site of the {about} is not recorded, so no rule says when its sutures come out."
    ),
    "sutures_contradiction": gettext_noop(
        "A day is set for the sutures of the {about}, and none were left: end the one or correct the other."
    ),
    "override_contradiction": gettext_noop("The day set by {by}, {day}, lies after its own end on {until}."),
    "own_interval_to_confirm": gettext_noop(
        "{by} set every {every} on {decided}, without an end: does it still stand?"
    ),
    "what_follows": gettext_noop("{title}, {begun}: the schedule ends on {day}; say what follows."),
    "what_follows_override": gettext_noop(
        "{sentence} It stands in the place of the last planned day and names none: say what follows."
    ),
    "visits_close_together": gettext_noop(
        "Seen on {day}, next planned for {next} by {title}: keep or move it?"
    ),
    "not_followed": gettext_noop(
        "The patient {status}; nothing is planned. Open until then: {due} due, {problems} to decide."
    ),
    "nothing_planned": gettext_noop(
        "Nothing is planned and nothing is asked: say what follows, or end the care."
    ),
}


def params(**values: Value | None) -> Params:
    """Put parameters in the order of their names; what is None is left out."""
    return tuple(sorted([(name, value) for name, value in values.items() if value is not None]))


def fill(template: str, values: Mapping[str, Value], language: Language = ENGLISH) -> str:
    """Fill a template with its parameters, each code, duration and day of them in words."""
    said = {name: _in_words(name, value, values, language) for name, value in values.items()}
    return language.translate(template).format(**said)


def _in_words(name: str, value: Value, values: Mapping[str, Value], language: Language) -> Value:
    if name == "schedule":
        return schedule_words(str(value), language)
    if name == "every":
        return duration_words(dates.parse(str(value)), language)
    if name == "months":
        return language.count("{count} month", "{count} months", int(value)).format(count=value)
    if name in ("about", "what"):
        template = (ABOUT if name == "about" else WHAT).get(str(value))
        others = {key: other for key, other in values.items() if key not in ("about", "what")}
        return fill(template, others, language) if template else value
    if isinstance(value, str) and _DAY.fullmatch(value):
        return write_day(date.fromisoformat(value), language)
    return _decoded(name, value, language) if name in WORDS or name in CHOICES else value


def _decoded(name: str, value: Value, language: Language) -> str:
    """Write a code, or several divided by commas; a code of a publication, such as IIB, stays as it is."""
    words = WORDS.get(name, {})
    codes = str(value).split(",") if name in CHOICES | LISTS else [str(value)]
    said = [language.translate(words[code]) if code in words else code for code in codes]
    return ", ".join(said) if name in LISTS else alternatives(said, language)


def reason_text(code: str, given: Params, language: Language = ENGLISH) -> str:
    """Write a reason as one sentence: where it comes from, and what is planned."""
    values = dict(given)
    said = fill(REASONS[code], values, language)
    if head := values.get("head"):
        said = f"{_first_capital(fill(HEADS[str(head)], values, language))}: {said}"
    if values.get("certain") is False:
        said = language.translate(MAY_APPLY).format(reason=said)
    return said


def problem_text(code: str, given: Params, language: Language = ENGLISH) -> str:
    """Write what a person must answer as one sentence."""
    values = dict(given)
    if "reason" in values:
        values["sentence"] = reason_text(str(values["reason"]), given, language).rstrip(".") + "."
    if head := values.get("head"):
        values["begun"] = _first_small(fill(HEADS[str(head)], values, language))
    return _first_capital(fill(PROBLEMS[str(values.get("kind_of", code))], values, language))


# The core asks for the same English more than once; what a page shows depends on its reader and is never kept.
english_reason = lru_cache(maxsize=1024)(reason_text)
english_problem = lru_cache(maxsize=1024)(problem_text)


def _first_small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _first_capital(text: str) -> str:
    return text[:1].upper() + text[1:]
