"""Criteria of the risk tiers, read from TOML: closed names, closed operators, no expressions; faults by path."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

TIERS: Final = ("average", "above_average", "high", "very_high")
FLAGS: Final = ("found", "found-2nd", "memory H", "memory M", "design")
PUBLISHED: Final = FLAGS[:-1]
SOURCELESS: Final = "clinic setting, no source"
# What an answer may be: one of a closed list of words, yes or no, a whole number.
ANSWERS: Final[Mapping[str, tuple[str, ...] | type]] = {
    "age": int,
    "naevi": ("0-15", "16-40", "41-100", "over100"),
    "atypical": ("0", "1-5", "6-10", "over10"),
    "phototype": ("I", "II", "III", "IV", "V", "VI"),
    "red_hair": bool,
    "blue_eyes": bool,
    "relatives": int,
    "gene_carrier": bool,
    "past_melanoma": bool,
    "past_keratinocyte": bool,
    "family_keratinocyte": bool,
    "many_keratoses": bool,
    "some_keratoses": bool,
    "blistering_burns": bool,
    "immunosuppressed": bool,
}
_OPERATORS: Final[Mapping[type, tuple[str, ...]]] = {
    bool: ("is",),
    int: ("is", "at_least", "at_most", "over"),
    tuple: ("is", "in"),
}
_HEAD = {"schema", "name", "title", "criterion", "context", "lifetime", "note"}
_CRITERION = ("id", "tier", "words", "when", "source", "edition", "flag")
_CONTEXT = ("id", "words", "when", "value", "source", "year", "flag")
_LIFETIME = ("population", "value", "source", "year", "flag")
_NOTE = ("words", "source", "flag")

Answers = Mapping[str, Any]


@dataclass(frozen=True)
class Fault:
    path: str
    line: int | None
    text: str

    def __str__(self) -> str:
        place = f"line {self.line}" if self.line else self.path
        return f"{place}: {self.text}" if place else self.text


@dataclass(frozen=True)
class Condition:
    answer: str
    operator: str
    value: Any

    def holds(self, answers: Answers) -> bool:
        given = answers[self.answer]
        match self.operator:
            case "is":
                return bool(given == self.value)
            case "in":
                return given in self.value
            case "at_least":
                return bool(given >= self.value)
            case "at_most":
                return bool(given <= self.value)
            case _:
                return bool(given > self.value)


@dataclass(frozen=True)
class Criterion:
    """Holds where every condition does."""

    id: str
    tier: str
    words: str
    when: tuple[Condition, ...]
    source: str
    edition: str
    flag: str
    approver: str = ""

    def holds(self, answers: Answers) -> bool:
        return all(condition.holds(answers) for condition in self.when)


@dataclass(frozen=True)
class Context:
    """A published relative risk of one factor alone; shown, never reckoned with."""

    id: str
    words: str
    when: tuple[Condition, ...]
    value: float
    interval: tuple[float, float] | None
    source: str
    year: str
    flag: str

    def holds(self, answers: Answers) -> bool:
        return all(condition.holds(answers) for condition in self.when)


@dataclass(frozen=True)
class Lifetime:
    population: str
    value: str
    source: str
    year: str
    flag: str


@dataclass(frozen=True)
class Note:
    words: str
    source: str
    flag: str


@dataclass(frozen=True)
class TierSet:
    name: str
    title: str
    criteria: tuple[Criterion, ...]
    context: tuple[Context, ...]
    lifetime: tuple[Lifetime, ...]
    notes: tuple[Note, ...]

    def judge(self, answers: Answers) -> tuple[str, list[Criterion]]:
        """The highest tier of which one criterion holds, and every criterion that holds, highest first."""
        held = [criterion for criterion in self.criteria if criterion.holds(answers)]
        held.sort(key=lambda criterion: -TIERS.index(criterion.tier))
        return (held[0].tier if held else TIERS[0]), held

    def context_of(self, answers: Answers) -> list[Context]:
        return [row for row in self.context if row.holds(answers)]


class FaultyTiers(ValueError):
    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(str(fault) for fault in faults))
        self.faults = faults


def load(text: str) -> TierSet:
    """The set; FaultyTiers with every fault where it cannot be used."""
    reader = _Reader()
    found = reader.whole(_decode(text))
    if reader.faults:
        raise FaultyTiers(reader.faults)
    return found


def check(text: str) -> list[str]:
    """Every fault in words with its place, in the order of the file; empty when it may be used."""
    try:
        load(text)
    except FaultyTiers as refused:
        return [str(fault) for fault in refused.faults]
    return []


def _decode(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        found = re.search(r"at line (\d+)", str(error))
        line = int(found[1]) if found else max(1, len(text.splitlines()))
        why = "nested too deeply" if isinstance(error, RecursionError) else error
        raise FaultyTiers([Fault("", line, f"not readable as TOML: {why}")]) from error


class _Reader:
    """Collects faults while it reads, so that a person sees all of them at once."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def fault(self, path: str, text: str) -> None:
        self.faults.append(Fault(path, None, text))

    def whole(self, data: dict[str, Any]) -> TierSet:
        self.unknown(data, _HEAD, "")
        if data.get("schema") != 1 or data.get("schema") is True:
            self.fault("schema", "must be 1")
        criteria = [self.criterion(*one) for one in self.tables(data, "criterion", _CRITERION, {"approver"})]
        if not data.get("criterion"):
            self.fault("criterion", "at least one [[criterion]] is needed")
        context = [self.context(*one) for one in self.tables(data, "context", _CONTEXT, {"interval"})]
        lifetime = [
            Lifetime(**self.published(row, path, _LIFETIME))
            for row, path in self.tables(data, "lifetime", _LIFETIME)
        ]
        notes = [Note(**self.published(row, path, _NOTE)) for row, path in self.tables(data, "note", _NOTE)]
        name, title = self.text(data, "name", ""), self.text(data, "title", "")
        return TierSet(name, title, tuple(criteria), tuple(context), tuple(lifetime), tuple(notes))

    def tables(
        self, data: dict[str, Any], name: str, needed: tuple[str, ...], more: Iterable[str] = ()
    ) -> list[tuple[dict[str, Any], str]]:
        """The whole tables of a list, each with its path; a table that lacks a key is a fault and left out."""
        rows, found, seen = data.get(name, []), [], set()
        if not isinstance(rows, list):
            self.fault(name, f"must be a list of tables, each headed [[{name}]]")
            return []
        for index, row in enumerate(rows):
            path = f"{name}[{index}]"
            if not isinstance(row, dict):
                self.fault(path, "must be a table")
                continue
            key = row.get("id")
            path = f"{path[:-1]}:{key}]" if isinstance(key, str) else path
            if isinstance(key, str) and key in seen:
                self.fault(f"{path}.id", f"the id “{key}” stands twice")
            seen.add(str(key))
            self.unknown(row, {*needed, *more}, path)
            missing = [part for part in needed if part not in row]
            for part in missing:
                self.fault(f"{path}.{part}", "is missing")
            if not missing:
                found.append((row, path))
        return found

    def criterion(self, row: dict[str, Any], path: str) -> Criterion:
        source = self.text(row, "source", path)
        if source == SOURCELESS and not row.get("approver"):
            self.fault(f"{path}.approver", "a criterion without a source names who approves it")
        if (source == SOURCELESS) != (row["flag"] == "design"):
            self.fault(f"{path}.flag", f"“design” stands with source “{SOURCELESS}”, and only there")
        self.sourced(source, path)
        texts = {key: self.text(row, key, path) for key in ("id", "words", "edition")}
        return Criterion(
            tier=self.word(row, "tier", TIERS[1:], path),
            when=self.conditions(row["when"], f"{path}.when"),
            source=source,
            flag=self.word(row, "flag", FLAGS, path),
            approver=self.text(row, "approver", path) if "approver" in row else "",
            **texts,
        )

    def context(self, row: dict[str, Any], path: str) -> Context:
        self.sourced(self.text(row, "source", path), path)
        return Context(
            when=self.conditions(row["when"], f"{path}.when"),
            value=self.number(row["value"], f"{path}.value"),
            interval=self.interval(row, path) if "interval" in row else None,
            flag=self.word(row, "flag", PUBLISHED, path),
            **{key: self.text(row, key, path) for key in ("id", "words", "source", "year")},
        )

    def published(self, row: dict[str, Any], path: str, keys: tuple[str, ...]) -> dict[str, str]:
        """A table of texts that stands for something published, with its mark."""
        texts = {key: self.text(row, key, path) for key in keys if key != "flag"}
        self.sourced(texts["source"], path)
        return texts | {"flag": self.word(row, "flag", PUBLISHED, path)}

    def sourced(self, source: str, path: str) -> None:
        if source and source != SOURCELESS and len(re.findall(r"[^\W\d_]", source)) < 3:
            self.fault(f"{path}.source", f"names no source; where there is none it says “{SOURCELESS}”")

    def conditions(self, when: Any, path: str) -> tuple[Condition, ...]:
        if not isinstance(when, dict) or not when:
            self.fault(path, "must name at least one answer, such as { red_hair.is = true }")
            return ()
        found: list[Condition] = []
        for answer, tests in when.items():
            if answer not in ANSWERS:
                self.fault(f"{path}.{answer}", f"there is no such answer; known are {_list(ANSWERS)}")
            elif not isinstance(tests, dict) or not tests:
                self.fault(f"{path}.{answer}", f"needs one of {_list(_operators(answer))}")
            else:
                found += [self.condition(answer, *test, path) for test in tests.items()]
        return tuple(found)

    def condition(self, answer: str, operator: str, value: Any, path: str) -> Condition:
        path, kind = f"{path}.{answer}.{operator}", ANSWERS[answer]
        if operator not in _operators(answer):
            self.fault(path, f"is no operator of {answer}; known are {_list(_operators(answer))}")
        elif operator == "in":
            if not isinstance(value, list) or not value:
                self.fault(path, "must be a list of answers")
                return Condition(answer, operator, ())
            for one in value:
                self.fits(one, kind, path)
            value = tuple(value)
        else:
            self.fits(value, kind, path)
        return Condition(answer, operator, value)

    def fits(self, value: Any, kind: tuple[str, ...] | type, path: str) -> None:
        if isinstance(kind, tuple):
            if value not in kind:
                self.fault(path, f"{value!r} is none of {_list(kind)}")
        elif kind is bool and not isinstance(value, bool):
            self.fault(path, "must be true or false")
        elif kind is int and (type(value) is not int or not 0 <= value <= 150):
            self.fault(path, "must be a whole number from 0 to 150")

    def number(self, value: Any, path: str) -> float:
        if type(value) not in (int, float) or not 0 < value < 1e6:
            self.fault(path, "must be a number above 0")
            return 0.0
        return float(value)

    def interval(self, row: dict[str, Any], path: str) -> tuple[float, float] | None:
        pair, path = row["interval"], f"{path}.interval"
        if not isinstance(pair, list) or len(pair) != 2:
            self.fault(path, "must be two numbers, the lower first")
            return None
        low, high = (self.number(one, path) for one in pair)
        value = row["value"]
        if type(value) in (int, float) and not low <= value <= high:
            self.fault(path, "does not hold the value; the lower end stands first")
        return low, high

    def text(self, row: dict[str, Any], key: str, path: str) -> str:
        value = row.get(key)
        if not isinstance(value, str) or not value.strip():
            self.fault(f"{path}.{key}" if path else key, "must be a text")
            return ""
        return value

    def word(self, row: dict[str, Any], key: str, known: tuple[str, ...], path: str) -> str:
        value = row[key]
        if not isinstance(value, str) or value not in known:
            self.fault(f"{path}.{key}", f"must be one of {_list(known)}")
            return known[0]
        return value

    def unknown(self, row: dict[str, Any], known: Iterable[str], path: str) -> None:
        for key in sorted(row.keys() - set(known)):
            self.fault(f"{path}.{key}" if path else key, "is not known here")


def _operators(answer: str) -> tuple[str, ...]:
    kind = ANSWERS[answer]
    return _OPERATORS[tuple if isinstance(kind, tuple) else kind]


def _list(words: Iterable[str]) -> str:
    return ", ".join(words)
