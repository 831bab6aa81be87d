"""Read the rules of a rule set from TOML: one small function for each key, each fault named by its path."""

from __future__ import annotations

import hashlib
import re
from typing import Any, get_args

from clinic.formats.strict_toml import Fault, Table, quote, repeated
from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.ruleset.rule import Condition, Phase, Rule, RuleSet, Spacing, Then, Urgency
from scheduling.rules.ruleset.vocabulary import ANCHORS, FIELDS, FLAGS, OPERATORS, PURPOSES, SOURCELESS

_LONGEST = 31 * 120
_LONGEST_PHASE = 31 * 12 * 100
_HEAD = ("schema", "name", "version", "title", "rule")
_NEEDED = (
    "id", "title", "purpose", "anchor", "phases", "then", "spacing", "urgency", "source", "edition", "flag",
)  # fmt: skip
_MORE = ("when", "notice", "approver", "replaces", "superseded_by")
_MISSING = {
    "then": "is missing: say what follows the last phase (open, end or ask); a schedule never stops silently",
    "source": "is missing: a rule names its source, or says “clinic setting, no source” and its approver",
}
_PHASE = '{ every = "P3M..P6M", for = "P2Y" }'
_LENGTH_MISSING = {"for": 'is missing: a duration, "open" or "once"'}


def read_ruleset(whole: Table, text: str) -> RuleSet:
    """Read the rule set of a file; its faults say whether it may be used."""
    whole.has_keys((), more=_HEAD)
    whole.has_schema(1)
    name, version, title = (whole.text(key) for key in ("name", "version", "title"))
    tables = whole.tables("rule", needed=True)
    rules = [(rule, table) for table in tables if (rule := _rule(table)) is not None]
    for table in repeated(tables, "id"):
        table.fault("", f"the id “{table.values['id']}” stands twice")
    _check_replaced(rules)
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    return RuleSet(name, version, sha256, title, tuple(rule for rule, _ in rules))


def _check_replaced(rules: list[tuple[Rule, Table]]) -> None:
    known = {rule.id: rule for rule, _ in rules}
    for rule, table in rules:
        for other in rule.replaces:
            if other not in known or other == rule.id:
                table.fault("replaces", f"there is no other rule “{other}”")
            elif (known[other].purpose, known[other].anchor) != (rule.purpose, rule.anchor):
                table.fault("replaces", f"“{other}” has another purpose or another anchor")


def _rule(table: Table) -> Rule | None:
    """Read one rule; None where it has a fault."""
    before = len(_errors(table))
    if not table.has_keys(_NEEDED, _MORE, _MISSING):
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
    )
    _check_rule(rule, table)
    return rule if len(_errors(table)) == before else None


def _errors(table: Table) -> list[Fault]:
    return [fault for fault in table.faults if fault.kind == "error"]


def _check_rule(rule: Rule, table: Table) -> None:
    """Check of a rule what no single key shows."""
    if rule.anchor in ANCHORS and rule.purpose in PURPOSES and rule.purpose not in ANCHORS[rule.anchor]:
        table.fault("purpose", f"{rule.purpose} cannot be counted from anchor “{rule.anchor}”")
    _check_source(rule, table)
    if rule.superseded_by:
        words = f"this edition is superseded by {rule.superseded_by}"
        table.fault("superseded_by", words, kind="warning")
    if dates.longest_days(rule.notice) > _LONGEST:
        table.fault("notice", "is longer than 120 months")
    if (rule.then == "ask") != ("notice" in table.values):
        table.fault("notice", 'stands with then = "ask", and only there')
    _check_end(rule, table)
    counted_from_attendance = rule.anchor == "risk" and rule.spacing == "attendance"
    if counted_from_attendance and [phase.length for phase in rule.phases] != [None]:
        table.fault("spacing", "counted from attendance, a risk rule is one open phase")
    for index, phase in enumerate(rule.phases):
        if phase.as_decided and rule.anchor != "decision":
            table.fault(f"phases[{index}].every", '“as decided” needs anchor = "decision"')


def _check_source(rule: Rule, table: Table) -> None:
    if rule.source not in SOURCELESS and _names_nothing(rule.source):
        words = " or ".join(f"“{text}”" for text in SOURCELESS)
        table.fault("source", f"names no source; where there is none it says {words}")
    if rule.source in SOURCELESS and rule.approver is None:
        table.fault("approver", "a rule without a source names who approves it")


def _names_nothing(source: str) -> bool:
    words = source.strip(" .?-").casefold()
    return "no source" in words or words in ("", "none", "unknown", "n/a", "nil", "tbd", "todo")


def _check_end(rule: Rule, table: Table) -> None:
    opens = [phase.length is None for phase in rule.phases]
    if not opens and rule.then != "end":
        table.fault("phases", 'no phase at all is only said with then = "end"')
    if any(opens[:-1]):
        table.fault("phases", "an open phase can only be the last")
    if opens and rule.then in get_args(Then) and opens[-1] != (rule.then == "open"):
        table.fault("then", '“open” stands with a last phase for = "open", and only there')


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
            table.fault("for", "“as decided” happens once")
        return
    if not 1 <= low <= mid <= high <= _LONGEST:
        table.fault("every", "needs 1 day to 120 months, the short end first and the target inside")
    early = dates.longest_days(phase.early)
    if early > mid or (early == mid and not phase.once):
        table.fault("early", "must be shorter than the interval itself")
    late = dates.longest_days(phase.late)
    if late > _LONGEST or (late > mid and not phase.once):
        table.fault("late", "is longer than the interval itself: the next visit would be due first")
    if phase.length is not None and not phase.once and dates.longest_days(phase.length) < mid:
        table.fault("for", "is shorter than the interval: nobody would be seen")
    if phase.length is not None and dates.longest_days(phase.length) > _LONGEST_PHASE:
        table.fault("for", "is longer than 100 years")


def _interval(table: Table) -> tuple[Duration, Duration]:
    wanted = 'a duration such as "P3M" or a range such as "P3M..P6M"'
    return table.parsed("every", _parse_interval, wanted) or (dates.ZERO, dates.ZERO)


def _parse_interval(text: str) -> tuple[Duration, Duration]:
    short, dots, long = text.partition("..")
    first = dates.parse(short)
    return first, dates.parse(long) if dots else first


def _tolerance(table: Table, key: str, is_range: bool) -> Duration:
    given = key in table.values
    if is_range and given:
        table.fault(key, "a range is its own window")
    elif not is_range and not given:
        table.fault(key, "a single interval says how early and how late is in time")
    return _duration(table, key) if given else dates.ZERO


def _length(table: Table, target: Duration) -> tuple[Duration | None, bool]:
    match table.values["for"]:
        case "open":
            return None, False
        case "once":
            return target, True
    return _duration(table, "for"), False


def _duration(table: Table, key: str) -> Duration:
    return table.parsed(key, dates.parse, 'a duration such as "P3M"') or dates.ZERO


def _conditions(table: Table, facts: dict[str, Any], anchor: str) -> tuple[Condition, ...]:
    when = table.table("when", "must be a table: fact = { operator = value }")
    found = []
    for name, test in when.values.items():
        if name not in facts:
            when.fault(name, f"is no fact of anchor “{anchor}”")
        elif not isinstance(test, dict) or len(test) != 1:
            when.fault(name, "needs exactly one operator: { is = … }")
        else:
            found.append(_condition(when.table(name), name, facts[name]))
    return tuple(condition for condition in found if condition)


def _condition(table: Table, name: str, kind: tuple[str, ...] | type) -> Condition | None:
    ((operator, value),) = table.values.items()
    if operator not in OPERATORS:
        table.fault(operator, f"is no operator; there are: {', '.join(OPERATORS)}")
        return None
    values = value if operator in ("in", "not_in") else [value]
    if not isinstance(values, list) or not values:
        table.fault(operator, "needs a list that is not empty")
        return None
    for entry in values:
        wrong = _wrong_value(entry, operator, kind)
        if wrong:
            table.fault(operator, wrong)
    return Condition(name, operator, tuple(values))


def _wrong_value(entry: Any, operator: str, kind: tuple[str, ...] | type) -> str:
    """Say why a fact of this kind cannot be compared with this value; empty where it can."""
    measured = kind is float
    if (operator in ("at_least", "below")) != measured:
        return "at_least and below compare a thickness, the other operators compare words"
    if kind is bool:
        return "" if type(entry) is bool else f"{quote(entry)} is not true or false"
    if not isinstance(entry, str):
        return f"{quote(entry)} must be written in quotes"
    if measured and not re.fullmatch(r"[0-9]{1,3}(\.[0-9])?", entry):
        return f"{quote(entry)} is not a thickness in mm with at most one decimal"
    if isinstance(kind, tuple) and entry not in kind:
        return f"{quote(entry)} is not one of: {', '.join(kind)}"
    return ""
