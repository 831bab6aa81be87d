"""Write rules and due rows in plain words, for pages, print and `explain`."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from scheduling.rules.plan.messages import HEADS, Params, fill
from scheduling.rules.plan.plan import Due
from scheduling.rules.ruleset.ruleset import Condition, Phase, Rule
from scheduling.rules.ruleset.schedules import duration_words as duration_words
from scheduling.rules.ruleset.schedules import range_words as range_words
from scheduling.rules.ruleset.schedules import schedule_words
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


def phase_words(phase: Phase) -> str:
    """One phase: every 3 months for 2 years."""
    return schedule_words(phase.code)


def phase_labels(rule: Rule) -> list[str]:
    """The phases in order and, last, what follows them; after a single visit that ends it nothing is said."""
    phases = [phase_words(phase) for phase in rule.phases]
    is_single = rule.then == "end" and all(phase.once for phase in rule.phases)
    return phases if is_single else [*phases, _THEN[rule.then]]


def rule_sentence(rule: Rule, names: Mapping[str, str] = MappingProxyType({})) -> str:
    """Write a whole rule in words, with where it comes from; `names` says what the codes of body sites mean."""
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
    """Write source and edition, how it was read, and whether a newer edition exists."""
    newer = f"; superseded by {rule.superseded_by}" if rule.superseded_by else ""
    return f"{rule.source}, {rule.edition}{_HOW_READ.get(rule.flag, '')}{newer}"


_FROM_MEMORY = " (from memory, to be checked)"
_HOW_READ = {
    "found-2nd": " (second-hand, confirm before use)",
    "memory H": _FROM_MEMORY,
    "memory M": _FROM_MEMORY,
}


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
