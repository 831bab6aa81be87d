"""Read the rules of a rule set from TOML: one small function for each key, each fault named by its path."""

from __future__ import annotations

import hashlib
import re
from typing import Any, get_args

from clinic.formats.strict_toml import Fault, Table, quote, repeated
from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.ruleset.rule import Condition, Phase, Rule, RuleSet, Spacing, Texts, Then, Urgency
from scheduling.rules.ruleset.vocabulary import (
    ANCHORS,
    FIELDS,
    FLAGS,
    LANGUAGES,
    OPERATORS,
    PURPOSES,
    SOURCELESS,
    TEXTS,
)

_LONGEST = 31 * 120
_LONGEST_PHASE = 31 * 12 * 100
_HEAD = ("schema", "name", "version", "title", "rule")
_NEEDED = (
    "id", "title", "purpose", "anchor", "phases", "then", "spacing", "urgency", "source", "edition", "flag",
)  # fmt: skip
_MORE = ("when", "notice", "approver", "replaces", "superseded_by")
_TITLES = tuple(f"title_{language}" for language in LANGUAGES)
_TEXTS = tuple(f"{key}_{language}" for key in TEXTS for language in LANGUAGES)
_MISSING = {"then": "no_then", "source": "no_source_key"}
_PHASE = '{ every = "P3M..P6M", for = "P2Y" }'
_LENGTH_MISSING = {"for": "no_length"}
# A code with its values, or nothing.
_Wrong = tuple[str, dict[str, Any]] | None


def read_ruleset(whole: Table, text: str) -> RuleSet:
    """Read the rule set of a file; its faults say whether it may be used."""
    whole.has_keys((), more=(*_HEAD, *_TITLES))
    whole.has_schema(1)
    name, version, title = (whole.text(key) for key in ("name", "version", "title"))
    tables = whole.tables("rule", needed=True)
    rules = [(rule, table) for table in tables if (rule := _rule(table)) is not None]
    for table in repeated(tables, "id"):
        table.fault("", "twice", id=table.values["id"])
    _check_replaced(rules)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    texts = _texts(whole, _TITLES)
    return RuleSet(name, version, sha256, title, tuple(rule for rule, _ in rules), texts)


def _check_replaced(rules: list[tuple[Rule, Table]]) -> None:
    known = {rule.id: rule for rule, _ in rules}
    for rule, table in rules:
        for other in rule.replaces:
            if other not in known or other == rule.id:
                table.fault("replaces", "no_other_rule", other=other)
            elif (known[other].purpose, known[other].anchor) != (rule.purpose, rule.anchor):
                table.fault("replaces", "another_purpose", other=other)


def _rule(table: Table) -> Rule | None:
    """Read one rule; None where it has a fault."""
    before = len(_errors(table))
    if not table.has_keys(_NEEDED, (*_MORE, *_TEXTS), _MISSING):
        return None
    anchor = table.choice("anchor", tuple(ANCHORS))
    rule = Rule(
        id=table.text("id"),
        title=table.text("title"),
        purpose=table.choice("purpose", PURPOSES),
        anchor=anchor,
        when=_conditions(table, FIELDS.get(anchor, {}), anchor),
        phases=_phases(table),
        then=table.choice("then", get_args(Then)),
        notice=_duration(table, "notice") if "notice" in table.values else dates.ZERO,
        spacing=table.choice("spacing", get_args(Spacing)),
        urgency=table.choice("urgency", get_args(Urgency)),
        source=table.text("source"),
        edition=table.text("edition"),
        flag=table.choice("flag", FLAGS),
        approver=table.text_or_none("approver"),
        replaces=table.texts("replaces"),
        superseded_by=table.text_or_none("superseded_by"),
        texts=_texts(table, _TEXTS),
    )
    _check_rule(rule, table)
    return rule if len(_errors(table)) == before else None


def _texts(table: Table, keys: tuple[str, ...]) -> Texts:
    return Texts(tuple((key, table.text(key)) for key in keys if key in table.values))


def _errors(table: Table) -> list[Fault]:
    return [fault for fault in table.faults if fault.kind == "error"]


def _check_rule(rule: Rule, table: Table) -> None:
    """Check of a rule what no single key shows."""
    if rule.anchor in ANCHORS and rule.purpose in PURPOSES and rule.purpose not in ANCHORS[rule.anchor]:
        table.fault("purpose", "not_from_anchor", purpose=rule.purpose, anchor=rule.anchor)
    _check_source(rule, table)
    if rule.superseded_by:
        table.fault("superseded_by", "superseded", kind="warning", by=rule.superseded_by)
    if dates.longest_days(rule.notice) > _LONGEST:
        table.fault("notice", "longer_than_120_months")
    if (rule.then == "ask") != ("notice" in table.values):
        table.fault("notice", "only_with_ask")
    _check_end(rule, table)
    counted_from_attendance = rule.anchor == "risk" and rule.spacing == "attendance"
    if counted_from_attendance and [phase.length for phase in rule.phases] != [None]:
        table.fault("spacing", "one_open_phase")
    for index, phase in enumerate(rule.phases):
        if phase.as_decided and rule.anchor != "decision":
            table.fault(f"phases[{index}].every", "as_decided_elsewhere")


def _check_source(rule: Rule, table: Table) -> None:
    if rule.source not in SOURCELESS and _names_nothing(rule.source):
        table.fault("source", "no_source", words=[f"“{text}”" for text in SOURCELESS])
    if rule.source in SOURCELESS and rule.approver is None:
        table.fault("approver", "no_approver")


def _names_nothing(source: str) -> bool:
    words = source.strip(" .?-").casefold()
    return "no source" in words or words in ("", "none", "unknown", "n/a", "nil", "tbd", "todo")


def _check_end(rule: Rule, table: Table) -> None:
    opens = [phase.length is None for phase in rule.phases]
    if not opens and rule.then != "end":
        table.fault("phases", "no_phase")
    if any(opens[:-1]):
        table.fault("phases", "open_not_last")
    if opens and rule.then in get_args(Then) and opens[-1] != (rule.then == "open"):
        table.fault("then", "open_alone")


def _phases(table: Table) -> tuple[Phase, ...]:
    found = [_phase(phase) for phase in table.tables("phases", like=_PHASE)]
    return tuple(phase for phase in found if phase is not None)


def _phase(table: Table) -> Phase | None:
    before = len(_errors(table))
    if not table.has_keys(("for",), ("every", "target", "early", "late"), _LENGTH_MISSING):
        return None
    as_decided = table.values.get("every") == "as decided"
    short, long = (dates.ZERO, dates.ZERO) if as_decided else _interval(table)
    target = _duration(table, "target") if "target" in table.values else short
    early, late = (_tolerance(table, key, short != long) for key in ("early", "late"))
    length, once = _length(table, target)
    if len(_errors(table)) > before:
        return None
    phase = Phase(short, long, target, length, early, late, once, as_decided)
    _check_phase(phase, table)
    return phase


def _check_phase(phase: Phase, table: Table) -> None:
    low, mid, high = (dates.longest_days(part) for part in (phase.short, phase.target, phase.long))
    if phase.as_decided:
        if not phase.once:
            table.fault("for", "as_decided_once")
        return
    if not 1 <= low <= mid <= high <= _LONGEST:
        table.fault("every", "interval_out_of_range")
    early = dates.longest_days(phase.early)
    if early > mid or (early == mid and not phase.once):
        table.fault("early", "early_too_long")
    late = dates.longest_days(phase.late)
    if late > _LONGEST or (late > mid and not phase.once):
        table.fault("late", "late_too_long")
    if phase.length is not None and not phase.once and dates.longest_days(phase.length) < mid:
        table.fault("for", "nobody_seen")
    if phase.length is not None and dates.longest_days(phase.length) > _LONGEST_PHASE:
        table.fault("for", "longer_than_100_years")


def _interval(table: Table) -> tuple[Duration, Duration]:
    return table.parsed("every", _parse_interval, "no_interval") or (dates.ZERO, dates.ZERO)


def _parse_interval(text: str) -> tuple[Duration, Duration]:
    short, dots, long = text.partition("..")
    first = dates.parse(short)
    return first, dates.parse(long) if dots else first


def _tolerance(table: Table, key: str, is_range: bool) -> Duration:
    given = key in table.values
    if is_range and given:
        table.fault(key, "range_is_window")
    elif not is_range and not given:
        table.fault(key, "no_tolerance")
    return _duration(table, key) if given else dates.ZERO


def _length(table: Table, target: Duration) -> tuple[Duration | None, bool]:
    match table.values["for"]:
        case "open":
            return None, False
        case "once":
            return target, True
    return _duration(table, "for"), False


def _duration(table: Table, key: str) -> Duration:
    return table.parsed(key, dates.parse, "no_duration") or dates.ZERO


def _conditions(table: Table, facts: dict[str, Any], anchor: str) -> tuple[Condition, ...]:
    when = table.table("when", "no_conditions", like="fact = { operator = value }")
    found = []
    for name, test in when.values.items():
        if name not in facts:
            when.fault(name, "no_fact", anchor=anchor)
        elif not isinstance(test, dict) or len(test) != 1:
            when.fault(name, "one_operator", like="{ is = … }")
        else:
            found.append(_condition(when.table(name), name, facts[name]))
    return tuple(condition for condition in found if condition)


def _condition(table: Table, name: str, kind: tuple[str, ...] | type) -> Condition | None:
    ((operator, value),) = table.values.items()
    if operator not in OPERATORS:
        table.fault(operator, "no_operator", known=tuple(OPERATORS))
        return None
    values = value if operator in ("in", "not_in") else [value]
    if not isinstance(values, list) or not values:
        table.fault(operator, "empty_list")
        return None
    for entry in values:
        wrong = _wrong_value(entry, operator, kind)
        if wrong:
            table.fault(operator, wrong[0], **wrong[1])
    return Condition(name, operator, tuple(values))


def _wrong_value(entry: Any, operator: str, kind: tuple[str, ...] | type) -> _Wrong:
    """Say why a fact of this kind cannot be compared with this value; None where it can."""
    measured, said = kind is float, {"value": quote(entry)}
    if (operator in ("at_least", "below")) != measured:
        return "thickness_only", {}
    if kind is bool:
        return None if type(entry) is bool else ("value_yes_or_no", said)
    if not isinstance(entry, str):
        return "no_quotes", said
    if measured and not re.fullmatch(r"[0-9]{1,3}(\.[0-9])?", entry):
        return "no_thickness", said
    if isinstance(kind, tuple) and entry not in kind:
        return "none_of", said | {"known": kind}
    return None
