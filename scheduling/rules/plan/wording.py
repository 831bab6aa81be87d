"""Write rules and due rows in plain words, for pages, print and `explain`."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from clinic.formats.language import ENGLISH, Language, alternatives, gettext_noop
from scheduling.rules.plan.plan import Due
from scheduling.rules.ruleset.ruleset import Condition, Phase, Rule
from scheduling.rules.ruleset.schedules import duration_words as duration_words
from scheduling.rules.ruleset.schedules import every_words as every_words
from scheduling.rules.ruleset.schedules import range_words as range_words
from scheduling.rules.ruleset.schedules import schedule_words
from scheduling.rules.ruleset.vocabulary import PURPOSE_WORDS, SOURCELESS

_THEN = {
    "open": gettext_noop("without an end"),
    "end": gettext_noop("then follow-up ends"),
    "ask": gettext_noop("then a clinician says what follows"),
}
_ATTENDANCE: Final = gettext_noop("the last attendance")
_ANCHORS = {
    "diagnosis": gettext_noop("the day of definitive excision"),
    "risk": gettext_noop("the risk assessment"),
    "lesion": gettext_noop("the start of monitoring"),
    "decision": gettext_noop("the day of the decision"),
    "procedure": gettext_noop("the procedure"),
}
_OPERATORS = {
    "is": gettext_noop("{fact} is {values}"),
    "in": gettext_noop("{fact} is {values}"),
    "not_in": gettext_noop("{fact} is none of {values}"),
    "at_least": gettext_noop("{fact} is at least {values} mm"),
    "below": gettext_noop("{fact} is below {values} mm"),
}
_FIELDS = {
    "code": gettext_noop("the diagnosis"),
    "thickness": gettext_noop("the thickness"),
    "stage": gettext_noop("the stage"),
    "sentinel": gettext_noop("the sentinel node biopsy"),
    "deposit_mm": gettext_noop("the sentinel node deposit"),
    "n": gettext_noop("N"),
    "m": gettext_noop("M"),
    "stage_basis": gettext_noop("the basis of the stage"),
    "primary": gettext_noop("the primary tumour"),
    "grade": gettext_noop("the grade"),
    "risk_scheme": gettext_noop("the risk scheme"),
    "risk_class": gettext_noop("the risk class"),
    "tier": gettext_noop("the risk tier"),
    "monitoring": gettext_noop("the monitoring"),
    "decision": gettext_noop("the decision"),
    "site": gettext_noop("the site"),
    "region": gettext_noop("the region"),
    "kind": gettext_noop("the procedure"),
}
_YES_OR_NO = {
    "invasive": (gettext_noop("it is not invasive"), gettext_noop("it is invasive")),
    "ulceration": (gettext_noop("it is not ulcerated"), gettext_noop("it is ulcerated")),
    "nodes_cleared": (gettext_noop("the nodes were not cleared"), gettext_noop("the nodes were cleared")),
    "transplant": (gettext_noop("there was no transplant"), gettext_noop("there was a transplant")),
}
_VALUES = {
    "bcc": gettext_noop("basal cell carcinoma"),
    "scc": gettext_noop("squamous cell carcinoma"),
    "scc_in_situ": gettext_noop("squamous cell carcinoma in situ"),
    "melanoma": gettext_noop("melanoma"),
    "melanoma_in_situ": gettext_noop("melanoma in situ"),
    "dysplastic_naevus": gettext_noop("dysplastic naevus"),
    "other_malignant": gettext_noop("other malignant"),
    "benign": gettext_noop("benign"),
    "clinical": gettext_noop("clinical"),
    "pathological": gettext_noop("pathological"),
    "known": gettext_noop("known"),
    "none": gettext_noop("not found"),
    "unassessable": gettext_noop("unassessable"),
    "mild": gettext_noop("mild"),
    "moderate": gettext_noop("moderate"),
    "severe": gettext_noop("severe"),
    "negative": gettext_noop("negative"),
    "positive": gettext_noop("positive"),
    "not_done": gettext_noop("not done"),
    "average": gettext_noop("average"),
    "above_average": gettext_noop("above average"),
    "high": gettext_noop("high"),
    "very_high": gettext_noop("very high"),
    "low": gettext_noop("low"),
    "intermediate": gettext_noop("intermediate"),
    "short": gettext_noop("short-term"),
    "long": gettext_noop("long-term"),
    "face": gettext_noop("face"),
    "scalp": gettext_noop("scalp"),
    "ear": gettext_noop("ear"),
    "lip": gettext_noop("lip"),
    "neck": gettext_noop("neck"),
    "trunk": gettext_noop("trunk"),
    "arm": gettext_noop("arm"),
    "hand": gettext_noop("hand"),
    "palm": gettext_noop("palm"),
    "leg": gettext_noop("leg"),
    "foot": gettext_noop("foot"),
    "sole": gettext_noop("sole"),
    "nail": gettext_noop("nail"),
    "genital": gettext_noop("genital"),
    "reassure": gettext_noop("reassure"),
    "look_again": gettext_noop("to look again"),
    "biopsy": gettext_noop("biopsy"),
    "excise": gettext_noop("excision"),
    "refer": gettext_noop("referral"),
    "second_reading": gettext_noop("second reading"),
    "inadequate": gettext_noop("inadequate"),
    "wrong_subject": gettext_noop("wrong subject"),
    "already_removed": gettext_noop("already removed"),
    "excision": gettext_noop("excision"),
    "other": gettext_noop("other"),
}
_PLANS: Final = gettext_noop("{purpose} {phases}, counted from {start}.")
_PLANS_NOTHING: Final = gettext_noop("no {purpose} is planned by this rule.")
_ALWAYS: Final = gettext_noop("Applies always.")
_WHEN: Final = gettext_noop("Applies when {conditions}.")
_SUTURES_LEFT: Final = gettext_noop("sutures were left to remove")
_BOTH: Final = gettext_noop("{first} and {other}")
_EITHER: Final = gettext_noop("{first} or {other}")
_SOURCE: Final = gettext_noop("{rule} Source: {source}.")
_SECOND_HAND: Final = gettext_noop("{source} (second-hand, confirm before use)")
_FROM_MEMORY: Final = gettext_noop("{source} (from memory, to be checked)")
_HOW_READ = {"found-2nd": _SECOND_HAND, "memory H": _FROM_MEMORY, "memory M": _FROM_MEMORY}
_SUPERSEDED: Final = gettext_noop("{source}; superseded by {newer}")


def phase_words(phase: Phase, language: Language = ENGLISH) -> str:
    """One phase: every 3 months for 2 years."""
    return schedule_words(phase.code, language)


def phase_labels(rule: Rule, language: Language = ENGLISH) -> list[str]:
    """The phases in order and, last, what follows them; after a single visit that ends it nothing is said."""
    phases = [phase_words(phase, language) for phase in rule.phases]
    is_single = rule.then == "end" and all(phase.once for phase in rule.phases)
    return phases if is_single else [*phases, language.translate(_THEN[rule.then])]


def rule_sentence(
    rule: Rule, names: Mapping[str, str] = MappingProxyType({}), language: Language = ENGLISH
) -> str:
    """Write a whole rule in words, with where it comes from; `names` says what the codes of body sites mean."""
    said = f"{rule.title}: {rule_body(rule, names, language)}"
    return language.translate(_SOURCE).format(rule=said, source=source_words(rule, language))


def rule_body(
    rule: Rule, names: Mapping[str, str] = MappingProxyType({}), language: Language = ENGLISH
) -> str:
    """Write what a rule plans and when it applies, without its title and its source."""
    purpose = language.translate(PURPOSE_WORDS[rule.purpose])
    if not rule.phases:
        plans = language.translate(_PLANS_NOTHING).format(purpose=purpose)
    else:
        start = language.translate(_ATTENDANCE if rule.spacing == "attendance" else _ANCHORS[rule.anchor])
        phases = ", ".join(phase_labels(rule, language))
        plans = language.translate(_PLANS).format(purpose=purpose, phases=phases, start=start)
    return f"{plans} {_applies(rule, names, language)}"


def _applies(rule: Rule, names: Mapping[str, str], language: Language) -> str:
    conditions = [_condition(condition, names, language) for condition in rule.when]
    if rule.purpose == "suture_removal":
        conditions.insert(0, language.translate(_SUTURES_LEFT))
    if not conditions:
        return language.translate(_ALWAYS)
    return language.translate(_WHEN).format(conditions=_joined(_BOTH, conditions, language))


def _joined(template: str, parts: list[str], language: Language) -> str:
    first, *others = parts
    for other in others:
        first = language.translate(template).format(first=first, other=other)
    return first


def source_words(rule: Rule, language: Language = ENGLISH, spoken: str = "") -> str:
    """Write source and edition, how it was read, and whether a newer edition exists; `spoken`: the language's code."""
    source = language.translate(rule.source) if rule.source in SOURCELESS else rule.text("source", spoken)
    said = f"{source}, {rule.text('edition', spoken)}"
    if rule.flag in _HOW_READ:
        said = language.translate(_HOW_READ[rule.flag]).format(source=said)
    if rule.superseded_by:
        said = language.translate(_SUPERSEDED).format(source=said, newer=rule.superseded_by)
    return said


def due_sentence(due: Due) -> str:
    """One due item in words, for the command line."""
    what = PURPOSE_WORDS[due.purpose].capitalize()
    whose = "" if due.subject == "patient" else f" ({due.subject.replace(':', ' ')})"
    if due.earliest == due.latest:
        window = f"on {due.target}"
    else:
        window = f"on {due.target}, in time from {due.earliest} to {due.latest}"
    return f"{what}{whose}, number {due.number}, {window}; urgency {due.urgency}."


def _condition(condition: Condition, names: Mapping[str, str], language: Language) -> str:
    """the site is cheek, chin or nose; the thickness is at least 1 mm; it is not ulcerated."""
    if condition.field in _YES_OR_NO:
        turned = condition.operator == "not_in"
        words = [_YES_OR_NO[condition.field][(value is True) != turned] for value in condition.values]
        said = [language.translate(word) for word in words]
        return _joined(_BOTH if turned else _EITHER, said, language)
    values = [names.get(str(value)) or value_words(str(value), language) for value in condition.values]
    fact = language.translate(_FIELDS[condition.field])
    template = language.translate(_OPERATORS[condition.operator])
    return template.format(fact=fact, values=alternatives(values, language))


def value_words(value: str, language: Language = ENGLISH) -> str:
    """Write a code of the facts in words; one of a publication, such as IIB, stays as it is."""
    return language.translate(_VALUES.get(value, value.replace("_", " ")))
