"""Rules and due items in plain words, for pages, print and `explain`."""

from __future__ import annotations

from functools import lru_cache

from .dates import Duration
from .plan import Due
from .ruleset import Condition, Phase, Rule
from .vocabulary import PURPOSE_WORDS

_THEN = {
    "open": "without an end",
    "end": "then follow-up ends",
    "ask": "then a clinician says what follows",
}
_ANCHORS = {
    "diagnosis": "the anchor day of the diagnosis",
    "risk": "the risk assessment",
    "lesion": "the start of monitoring",
    "decision": "the day of the decision",
    "procedure": "the procedure",
}
_OPERATORS = {
    "is": "is",
    "in": "is one of",
    "not_in": "is none of",
    "at_least": "is at least",
    "below": "is below",
}


def duration_words(duration: Duration) -> str:
    """3 months; 2 years; 2 months and 15 days; 6 weeks."""
    years, months = divmod(duration.months, 12)
    if years and months:
        years, months = 0, duration.months
    weeks, days = divmod(duration.days, 7)
    if weeks and (days or duration.months):
        weeks, days = 0, duration.days
    parts = ((years, "year"), (months, "month"), (weeks, "week"), (days, "day"))
    return " and ".join(f"{n} {unit}{'s' if n != 1 else ''}" for n, unit in parts if n) or "0 days"


@lru_cache(maxsize=1024)
def phase_words(phase: Phase) -> str:
    """One phase: every 3 months for 2 years."""
    if phase.as_decided:
        return "once, after the months the dermatologist chose"
    if phase.is_range:
        span = f"{duration_words(phase.short)} to {duration_words(phase.long)}"
    else:
        span = duration_words(phase.target)
    if phase.once:
        return f"once, after {span}"
    return f"every {span.removeprefix('1 ')}" + (
        f" for {duration_words(phase.length)}" if phase.length is not None else ""
    )


def phase_labels(rule: Rule) -> list[str]:
    """The phases in order and, last, what follows them."""
    return [*(phase_words(phase) for phase in rule.phases), _THEN[rule.then]]


def rule_sentence(rule: Rule) -> str:
    """A whole rule in words, with where it comes from."""
    what = PURPOSE_WORDS[rule.purpose]
    if not rule.phases:
        head = f"{rule.title}: no {what} is planned by this rule"
    else:
        counted = "the last attendance" if rule.spacing == "attendance" else _ANCHORS[rule.anchor]
        head = f"{rule.title}: {what} {', '.join(phase_labels(rule))}, counted from {counted}"
    conditions = " and ".join(_condition(condition) for condition in rule.when)
    applies = f" Applies when {conditions}." if conditions else " Applies always."
    return f"{head}.{applies} Source: {source_words(rule)}."


def source_words(rule: Rule) -> str:
    """Source and edition, how it was read, and whether a newer edition exists."""
    newer = f"; superseded by {rule.superseded_by}" if rule.superseded_by else ""
    return f"{rule.source}, {rule.edition}{_HOW_READ.get(rule.flag, '')}{newer}"


_HOW_READ = {"found-2nd": " (read in a restatement)", "memory M": " (from memory, to be checked)"}


def due_sentence(due: Due) -> str:
    """One due item in words."""
    what = PURPOSE_WORDS[due.purpose].capitalize()
    whose = "" if due.subject == "patient" else f" ({due.subject.replace(':', ' ')})"
    if due.earliest == due.latest:
        window = f"on {due.target}"
    else:
        window = f"on {due.target}, in time from {due.earliest} to {due.latest}"
    return f"{what}{whose}, number {due.number}, {window}; urgency {due.urgency}."


def _condition(condition: Condition) -> str:
    values = ", ".join(_value(value) for value in condition.values)
    unit = " mm" if condition.field == "thickness" else ""
    return f"{condition.field.replace('_', ' ')} {_OPERATORS[condition.operator]} {values}{unit}"


def _value(value: str | bool) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.replace("_", " ")
