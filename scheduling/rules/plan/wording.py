"""Rules and due items in plain words, for pages, print and `explain`."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from scheduling.rules.dates import Duration
from scheduling.rules.plan.messages import HEADS, Params, fill
from scheduling.rules.plan.plan import Due
from scheduling.rules.ruleset.ruleset import Condition, Phase, Rule
from scheduling.rules.ruleset.vocabulary import PURPOSE_WORDS

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
_OPERATORS = {"is": "is", "in": "is", "not_in": "is none of", "at_least": "is at least", "below": "is below"}
_FIELDS = {
    "code": "the diagnosis",
    "thickness": "the thickness",
    "sentinel": "the sentinel node biopsy",
    "deposit_mm": "the sentinel node deposit",
    "n": "N",
    "m": "M",
    "stage_basis": "the basis of the stage",
    "primary": "the primary tumour",
    "tier": "the risk tier",
    "kind": "the procedure",
}
_YES_OR_NO = {
    "invasive": ("it is not invasive", "it is invasive"),
    "ulceration": ("it is not ulcerated", "it is ulcerated"),
    "nodes_cleared": ("the nodes were not cleared", "the nodes were cleared"),
    "transplant": ("there was no transplant", "there was a transplant"),
}
_VALUES = {
    "bcc": "basal cell carcinoma",
    "scc": "squamous cell carcinoma",
    "scc_in_situ": "squamous cell carcinoma in situ",
    "look_again": "to look again",
    "short": "short-term",
    "long": "long-term",
    "none": "not found",
    "refer": "referral",
    "excise": "excision",
}


_DIAGNOSES = {
    "melanoma": "Melanoma",
    "melanoma_in_situ": "Melanoma in situ",
    "scc": "Squamous cell carcinoma",
    "scc_in_situ": "Squamous cell carcinoma in situ",
    "bcc": "Basal cell carcinoma",
    "dysplastic_naevus": "Dysplastic naevus",
    "other_malignant": "Other malignant tumour",
    "benign": "Benign lesion",
}


def diagnosis_words(code: str) -> str:
    return _DIAGNOSES[code]


def head_words(head: str, about: Params) -> str:
    """What a series comes from, such as: melanoma excised 31 Jan 2025."""
    words = fill(HEADS[head], dict(about))
    return words[:1].lower() + words[1:]


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


def range_words(short: Duration, long: Duration) -> str:
    """5 to 7 days; 6 to 12 months; 2 to 5 years; 2 months and 15 days to 4 months and 15 days."""
    if not short.months and not long.months:
        return f"{short.days} to {long.days} days"
    if short.days or long.days:
        return f"{duration_words(short)} to {duration_words(long)}"
    if short.months % 12 or long.months % 12:
        return f"{short.months} to {long.months} months"
    return f"{short.months // 12} to {long.months // 12} years"


@lru_cache(maxsize=1024)
def phase_words(phase: Phase) -> str:
    """One phase: every 3 months for 2 years."""
    if phase.as_decided:
        return "once, after the months the dermatologist chose"
    span = range_words(phase.short, phase.long) if phase.is_range else duration_words(phase.target)
    if phase.once:
        return f"once, after {span}"
    return f"every {span.removeprefix('1 ')}" + (
        f" for {duration_words(phase.length)}" if phase.length is not None else ""
    )


def phase_labels(rule: Rule) -> list[str]:
    """The phases in order and, last, what follows them; after a single visit that ends it nothing is said."""
    phases = [phase_words(phase) for phase in rule.phases]
    is_single = rule.then == "end" and all(phase.once for phase in rule.phases)
    return phases if is_single else [*phases, _THEN[rule.then]]


def rule_sentence(rule: Rule, names: Mapping[str, str] = MappingProxyType({})) -> str:
    """A whole rule in words, with where it comes from; `names` says what the codes of body sites mean."""
    what = PURPOSE_WORDS[rule.purpose]
    if not rule.phases:
        head = f"{rule.title}: no {what} is planned by this rule"
    else:
        counted = "the last attendance" if rule.spacing == "attendance" else _ANCHORS[rule.anchor]
        head = f"{rule.title}: {what} {', '.join(phase_labels(rule))}, counted from {counted}"
    return f"{head}. {_applies(rule, names)}. Source: {source_words(rule)}."


def _applies(rule: Rule, names: Mapping[str, str]) -> str:
    conditions = " and ".join(_condition(condition, names) for condition in rule.when)
    if rule.purpose == "suture_removal":
        conditions = " and ".join(part for part in ("sutures were left to remove", conditions) if part)
    return f"Applies when {conditions}" if conditions else "Applies always"


def source_words(rule: Rule) -> str:
    """Source and edition, how it was read, and whether a newer edition exists."""
    newer = f"; superseded by {rule.superseded_by}" if rule.superseded_by else ""
    return f"{rule.source}, {rule.edition}{_HOW_READ.get(rule.flag, '')}{newer}"


_HOW_READ = {"found-2nd": " (second-hand, confirm before use)", "memory M": " (from memory, to be checked)"}


def due_sentence(due: Due) -> str:
    """One due item in words."""
    what = PURPOSE_WORDS[due.purpose].capitalize()
    whose = "" if due.subject == "patient" else f" ({due.subject.replace(':', ' ')})"
    if due.earliest == due.latest:
        window = f"on {due.target}"
    else:
        window = f"on {due.target}, in time from {due.earliest} to {due.latest}"
    return f"{what}{whose}, number {due.number}, {window}; urgency {due.urgency}."


def _condition(condition: Condition, names: Mapping[str, str]) -> str:
    """the site is cheek, chin or nose; the thickness is at least 1 mm; it is not ulcerated."""
    if condition.field in _YES_OR_NO:
        turned = condition.operator == "not_in"
        words = [_YES_OR_NO[condition.field][(value is True) != turned] for value in condition.values]
        return (" and " if turned else " or ").join(words)
    *most, last = [_value(str(value), names) for value in condition.values]
    values = f"{', '.join(most)} or {last}" if most else last
    unit = " mm" if condition.field in ("thickness", "deposit_mm") else ""
    field = _FIELDS.get(condition.field, f"the {condition.field.replace('_', ' ')}")
    return f"{field} {_OPERATORS[condition.operator]} {values}{unit}"


def _value(value: str, names: Mapping[str, str]) -> str:
    return names.get(value) or _VALUES.get(value) or value.replace("_", " ")
