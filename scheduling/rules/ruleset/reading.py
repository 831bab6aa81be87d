"""From decoded TOML to rules: every key is read by one small function that names its fault by path."""

from __future__ import annotations

import hashlib
import re
from typing import Any, get_args

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.ruleset.rule import Condition, Fault, Phase, Rule, RuleSet, Spacing, Then, Urgency
from scheduling.rules.ruleset.vocabulary import ANCHORS, FIELDS, FLAGS, OPERATORS, PURPOSES, SOURCELESS

_LONGEST = 31 * 120
_LONGEST_PHASE = 31 * 12 * 100
_RULE_KEYS = {
    "id", "title", "purpose", "anchor", "when", "phases", "then", "notice", "spacing", "urgency",
    "source", "edition", "flag", "approver", "replaces", "superseded_by",
}  # fmt: skip
_NEEDED = (
    "id",
    "title",
    "purpose",
    "anchor",
    "phases",
    "then",
    "spacing",
    "urgency",
    "source",
    "edition",
    "flag",
)


class Reader:
    """Collects faults while it reads, so that a person sees all of them at once."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def fault(self, path: str, text: str) -> None:
        self.faults.append(Fault(path, None, text))

    def ruleset(self, data: dict[str, Any], text: str) -> RuleSet | None:
        before = len(self.faults)
        self.unknown(data, {"schema", "name", "version", "title", "rule"}, "")
        if data.get("schema") != 1 or data.get("schema") is True:
            self.fault("schema", "must be 1")
        name, version, title = (self.text(data, key, "") for key in ("name", "version", "title"))
        entries = data.get("rule")
        if not isinstance(entries, list) or not entries:
            self.fault("rule", "at least one [[rule]] is needed")
            return None
        rules = [self.rule(entry, f"rule[{index}]") for index, entry in enumerate(entries)]
        known = [rule for rule in rules if rule is not None]
        self.identities(known, entries)
        if len(self.faults) > before:
            return None
        return RuleSet(name, version, hashlib.sha256(text.encode()).hexdigest(), title, tuple(known))

    def identities(self, rules: list[Rule], entries: list[Any]) -> None:
        seen: dict[str, Rule] = {}
        for rule in rules:
            if rule.id in seen:
                self.fault(_path_of(rule.id, entries), f"the id “{rule.id}” stands twice")
            seen[rule.id] = rule
        for rule in rules:
            for other in rule.replaces:
                path = f"{_path_of(rule.id, entries)}.replaces"
                if other not in seen or other == rule.id:
                    self.fault(path, f"there is no other rule “{other}”")
                elif (seen[other].purpose, seen[other].anchor) != (rule.purpose, rule.anchor):
                    self.fault(path, f"“{other}” has another purpose or another anchor")

    def rule(self, entry: Any, path: str) -> Rule | None:
        if not isinstance(entry, dict):
            self.fault(path, "must be a table")
            return None
        if isinstance(entry.get("id"), str):
            path = f"{path[:-1]}:{entry['id']}]"
        before = len(self.faults)
        self.unknown(entry, _RULE_KEYS, path)
        for key in _NEEDED:
            if key not in entry:
                self.fault(f"{path}.{key}", _MISSING.get(key, "is missing"))
        if any(key not in entry for key in _NEEDED):
            return None
        rule = self.whole_rule(entry, path)
        self.consistency(rule, entry, path)
        return rule if len(self.faults) == before else None

    def whole_rule(self, entry: dict[str, Any], path: str) -> Rule:
        anchor = self.word(entry, "anchor", tuple(ANCHORS), path)
        return Rule(
            id=self.text(entry, "id", path),
            title=self.text(entry, "title", path),
            purpose=self.word(entry, "purpose", PURPOSES, path),
            anchor=anchor,  # type: ignore[arg-type]
            when=self.conditions(entry.get("when", {}), anchor, f"{path}.when"),
            phases=self.phases(entry["phases"], path),
            then=self.word(entry, "then", get_args(Then), path),  # type: ignore[arg-type]
            notice=self.duration(entry["notice"], f"{path}.notice") if "notice" in entry else dates.ZERO,
            spacing=self.word(entry, "spacing", get_args(Spacing), path),  # type: ignore[arg-type]
            urgency=self.word(entry, "urgency", get_args(Urgency), path),  # type: ignore[arg-type]
            source=self.text(entry, "source", path),
            edition=self.text(entry, "edition", path),
            flag=self.word(entry, "flag", FLAGS, path),
            approver=self.text(entry, "approver", path) if "approver" in entry else None,
            replaces=self.texts(entry.get("replaces", []), f"{path}.replaces"),
            superseded_by=self.text(entry, "superseded_by", path) if "superseded_by" in entry else None,
        )

    def consistency(self, rule: Rule, entry: dict[str, Any], path: str) -> None:
        """What no single key shows."""
        if rule.anchor in ANCHORS and rule.purpose in PURPOSES and rule.purpose not in ANCHORS[rule.anchor]:
            self.fault(f"{path}.purpose", f"{rule.purpose} cannot be counted from anchor “{rule.anchor}”")
        if rule.source not in SOURCELESS and _names_nothing(rule.source):
            words = " or ".join(f"“{text}”" for text in SOURCELESS)
            self.fault(f"{path}.source", f"names no source; where there is none it says {words}")
        if dates.longest_days(rule.notice) > _LONGEST:
            self.fault(f"{path}.notice", "is longer than 120 months")
        if rule.source in SOURCELESS and rule.approver is None:
            self.fault(f"{path}.approver", "a rule without a source names who approves it")
        if (rule.then == "ask") != ("notice" in entry):
            self.fault(f"{path}.notice", 'stands with then = "ask", and only there')
        self.ending(rule, path)
        if (
            rule.anchor == "risk"
            and rule.spacing == "attendance"
            and [p.length for p in rule.phases] != [None]
        ):
            self.fault(f"{path}.spacing", "counted from attendance, a risk rule is one open phase")
        for index, phase in enumerate(rule.phases):
            if phase.as_decided and rule.anchor != "decision":
                self.fault(f"{path}.phases[{index}].every", '“as decided” needs anchor = "decision"')

    def ending(self, rule: Rule, path: str) -> None:
        opens = [phase.length is None for phase in rule.phases]
        if not opens and rule.then != "end":
            self.fault(f"{path}.phases", 'no phase at all is only said with then = "end"')
        if any(opens[:-1]):
            self.fault(f"{path}.phases", "an open phase can only be the last")
        if opens and rule.then in get_args(Then) and opens[-1] != (rule.then == "open"):
            self.fault(f"{path}.then", '“open” stands with a last phase for = "open", and only there')

    def phases(self, entries: Any, path: str) -> tuple[Phase, ...]:
        if not isinstance(entries, list):
            self.fault(f"{path}.phases", "must be a list of phases")
            return ()
        found = [self.phase(entry, f"{path}.phases[{index}]") for index, entry in enumerate(entries)]
        return tuple(phase for phase in found if phase is not None)

    def phase(self, entry: Any, path: str) -> Phase | None:
        if not isinstance(entry, dict):
            self.fault(path, "must be a table with every and for")
            return None
        self.unknown(entry, {"every", "for", "target", "early", "late"}, path)
        if "for" not in entry:
            self.fault(f"{path}.for", 'is missing: a duration, "open" or "once"')
            return None
        before = len(self.faults)
        as_decided = entry.get("every") == "as decided"
        short, long = (
            (dates.ZERO, dates.ZERO) if as_decided else self.interval(entry.get("every"), f"{path}.every")
        )
        target = self.duration(entry["target"], f"{path}.target") if "target" in entry else short
        early, late = self.tolerance(entry, short != long, path)
        length, once = self.length(entry["for"], target, f"{path}.for")
        if len(self.faults) > before:
            return None
        phase = Phase(short, long, target, length, early, late, once, as_decided)
        self.phase_limits(phase, path)
        return phase

    def phase_limits(self, phase: Phase, path: str) -> None:
        low, mid, high = (dates.longest_days(part) for part in (phase.short, phase.target, phase.long))
        if phase.as_decided:
            if not phase.once:
                self.fault(f"{path}.for", "“as decided” happens once")
            return
        if not 1 <= low <= mid <= high <= _LONGEST:
            self.fault(
                f"{path}.every", "needs 1 day to 120 months, the short end first and the target inside"
            )
        early = dates.longest_days(phase.early)
        if early > mid or (early == mid and not phase.once):
            self.fault(f"{path}.early", "must be shorter than the interval itself")
        late = dates.longest_days(phase.late)
        if late > _LONGEST or (late > mid and not phase.once):
            self.fault(
                f"{path}.late", "is longer than the interval itself: the next visit would be due first"
            )
        if phase.length is not None and not phase.once and dates.longest_days(phase.length) < mid:
            self.fault(f"{path}.for", "is shorter than the interval: nobody would be seen")
        if phase.length is not None and dates.longest_days(phase.length) > _LONGEST_PHASE:
            self.fault(f"{path}.for", "is longer than 100 years")

    def interval(self, value: Any, path: str) -> tuple[Duration, Duration]:
        if not isinstance(value, str):
            self.fault(path, 'must be a duration such as "P3M" or a range such as "P3M..P6M"')
            return dates.ZERO, dates.ZERO
        short, _, long = value.partition("..")
        first = self.duration(short, path)
        return first, self.duration(long, path) if long or value.endswith("..") else first

    def tolerance(self, entry: dict[str, Any], is_range: bool, path: str) -> tuple[Duration, Duration]:
        found = []
        for key in ("early", "late"):
            if is_range and key in entry:
                self.fault(f"{path}.{key}", "a range is its own window")
            elif not is_range and key not in entry:
                self.fault(f"{path}.{key}", "a single interval says how early and how late is in time")
            found.append(self.duration(entry[key], f"{path}.{key}") if key in entry else dates.ZERO)
        return found[0], found[1]

    def length(self, value: Any, target: Duration, path: str) -> tuple[Duration | None, bool]:
        if value == "open":
            return None, False
        if value == "once":
            return target, True
        return self.duration(value, path), False

    def duration(self, value: Any, path: str) -> Duration:
        try:
            return dates.parse(value if isinstance(value, str) else repr(value))
        except ValueError as error:
            self.fault(path, str(error))
            return dates.ZERO

    def conditions(self, entry: Any, anchor: str, path: str) -> tuple[Condition, ...]:
        if not isinstance(entry, dict):
            self.fault(path, "must be a table: fact = { operator = value }")
            return ()
        found = []
        for name, test in entry.items():
            if name not in FIELDS.get(anchor, {}):
                self.fault(f"{path}.{name}", f"is no fact of anchor “{anchor}”")
            elif not isinstance(test, dict) or len(test) != 1:
                self.fault(f"{path}.{name}", "needs exactly one operator: { is = … }")
            else:
                found.append(
                    self.condition(name, *next(iter(test.items())), FIELDS[anchor][name], f"{path}.{name}")
                )
        return tuple(condition for condition in found if condition)

    def condition(
        self, name: str, operator: str, value: Any, kind: tuple[str, ...] | type, path: str
    ) -> Condition | None:
        if operator not in OPERATORS:
            self.fault(f"{path}.{operator}", f"is no operator; there are: {', '.join(OPERATORS)}")
            return None
        values = value if operator in ("in", "not_in") else [value]
        if not isinstance(values, list) or not values:
            self.fault(f"{path}.{operator}", "needs a list that is not empty")
            return None
        for entry in values:
            self.value(entry, operator, kind, f"{path}.{operator}")
        return Condition(name, operator, tuple(values))

    def value(self, entry: Any, operator: str, kind: tuple[str, ...] | type, path: str) -> None:
        measured = kind is float
        if (operator in ("at_least", "below")) != measured:
            self.fault(path, "at_least and below compare a thickness, the other operators compare words")
        elif kind is bool:
            if type(entry) is not bool:
                self.fault(path, f"“{entry}” is not true or false")
        elif not isinstance(entry, str):
            self.fault(path, f"“{entry}” must be written in quotes")
        elif measured:
            if not re.fullmatch(r"[0-9]{1,3}(\.[0-9])?", entry):
                self.fault(path, f"“{entry}” is not a thickness in mm with at most one decimal")
        elif isinstance(kind, tuple) and entry not in kind:
            self.fault(path, f"“{entry}” is not one of: {', '.join(kind)}")

    def unknown(self, entry: dict[str, Any], keys: set[str], path: str) -> None:
        for key in entry:
            if key not in keys:
                self.fault(f"{path}.{key}" if path else key, "is not a known key")

    def text(self, entry: dict[str, Any], key: str, path: str) -> str:
        value = entry.get(key)
        if not isinstance(value, str) or not value.strip():
            self.fault(f"{path}.{key}" if path else key, "must be a text that is not empty")
            return ""
        return value

    def texts(self, value: Any, path: str) -> tuple[str, ...]:
        if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
            self.fault(path, "must be a list of texts")
            return ()
        return tuple(value)

    def word(self, entry: dict[str, Any], key: str, words: tuple[str, ...], path: str) -> str:
        value = entry.get(key)
        if value not in words:
            self.fault(f"{path}.{key}", f"“{value}” is not one of: {', '.join(words)}")
        return str(value)


_MISSING = {
    "then": "is missing: say what follows the last phase (open, end or ask); a schedule never stops silently",
    "source": "is missing: a rule names its source, or says “clinic setting, no source” and its approver",
}


def _names_nothing(source: str) -> bool:
    words = source.strip(" .?-").casefold()
    return "no source" in words or words in ("", "none", "unknown", "n/a", "nil", "tbd", "todo")


def _path_of(rule_id: str, entries: list[Any]) -> str:
    found = [i for i, entry in enumerate(entries) if isinstance(entry, dict) and entry.get("id") == rule_id]
    return f"rule[{found[-1]}:{rule_id}]"
