"""Read the criteria of the risk tiers from TOML: known names and tests only, no expressions; faults with their path."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from clinic.formats import strict_toml
from clinic.formats.strict_toml import Table, as_number, quote, repeated
from clinic.tiers.tier_set import (
    ANSWERS,
    TIERS,
    Condition,
    Context,
    Criterion,
    Lifetime,
    Note,
    Prompt,
    TierSet,
)

FLAGS: Final = ("found", "found-2nd", "memory H", "memory M", "design")
PUBLISHED: Final = FLAGS[:-1]
SOURCELESS: Final = "clinic setting, no source"
_OPERATORS: Final[Mapping[type, tuple[str, ...]]] = {
    bool: ("is",),
    int: ("is", "at_least", "at_most", "over"),
    tuple: ("is", "in"),
}
_HEAD = ("schema", "name", "title", "criterion", "prompt", "context", "lifetime", "note")
_CRITERION = ("id", "tier", "words", "when", "source", "edition", "flag")
_PROMPT = ("id", "words", "when", "source", "edition", "flag")
_CONTEXT = ("id", "words", "when", "value", "source", "year", "flag")
_LIFETIME = ("population", "value", "source", "year", "flag")
_NOTE = ("words", "source", "flag")
_HIGHEST = 1_000_000
_WHEN = "must name at least one answer, such as { red_hair.is = true }"


def load(text: str) -> TierSet:
    """Read a set of criteria; FaultyText with every fault where it cannot be used."""
    return strict_toml.load(text, _tier_set)


def check(text: str) -> list[str]:
    """List every fault in words with its place, in the order of the file; empty when the set may be used."""
    return [str(fault) for fault in strict_toml.read(text, _tier_set)[1]]


def _tier_set(whole: Table) -> TierSet:
    whole.has_keys((), more=_HEAD)
    whole.has_schema(1)
    return TierSet(
        name=whole.text("name"),
        title=whole.text("title"),
        criteria=tuple(
            _criterion(row) for row in _rows(whole, "criterion", _CRITERION, ("approver",), needed=True)
        ),
        prompts=tuple(_prompt(row) for row in _rows(whole, "prompt", _PROMPT)),
        context=tuple(_context(row) for row in _rows(whole, "context", _CONTEXT, ("interval",))),
        lifetime=tuple(Lifetime(**_published(row, _LIFETIME)) for row in _rows(whole, "lifetime", _LIFETIME)),
        notes=tuple(Note(**_published(row, _NOTE)) for row in _rows(whole, "note", _NOTE)),
    )


def _rows(
    whole: Table, name: str, keys: tuple[str, ...], more: tuple[str, ...] = (), needed: bool = False
) -> list[Table]:
    """The tables of a list that lack no key."""
    tables = whole.tables(name, needed=needed)
    for table in repeated(tables, "id"):
        table.fault("id", f"the id “{table.values['id']}” stands twice")
    return [table for table in tables if table.has_keys(keys, more)]


def _criterion(row: Table) -> Criterion:
    source, approver = _source(row), row.text_or_none("approver") or ""
    if source == SOURCELESS and not approver:
        row.fault("approver", "a criterion without a source names who approves it")
    if (source == SOURCELESS) != (row.values["flag"] == "design"):
        row.fault("flag", f"“design” stands with source “{SOURCELESS}”, and only there")
    return Criterion(
        tier=row.choice("tier", TIERS[1:]),
        when=_conditions(row),
        source=source,
        flag=row.choice("flag", FLAGS),
        approver=approver,
        **{key: row.text(key) for key in ("id", "words", "edition")},
    )


def _prompt(row: Table) -> Prompt:
    return Prompt(when=_conditions(row), **_published(row, ("id", "words", "source", "edition")))


def _context(row: Table) -> Context:
    value = row.number("value", above=0, below=_HIGHEST) or 0.0
    return Context(
        when=_conditions(row),
        value=value,
        interval=_interval(row, value) if "interval" in row.values else None,
        **_published(row, ("id", "words", "source", "year")),
    )


def _published(row: Table, keys: tuple[str, ...]) -> dict[str, str]:
    """A table of texts that stands for something published, with its mark."""
    texts = {key: row.text(key) for key in keys if key not in ("source", "flag")}
    return texts | {"source": _source(row), "flag": row.choice("flag", PUBLISHED)}


def _source(row: Table) -> str:
    source = row.text("source")
    if source and source != SOURCELESS and len(re.findall(r"[^\W\d_]", source)) < 3:
        row.fault("source", f"names no source; where there is none it says “{SOURCELESS}”")
    return source


def _interval(row: Table, value: float) -> tuple[float, float] | None:
    pair = row.values["interval"]
    ends = [as_number(end) or 0.0 for end in pair] if isinstance(pair, list) else []
    if len(ends) != 2 or not all(0 < end < _HIGHEST for end in ends):
        row.fault("interval", "must be two numbers above 0, the lower first")
        return None
    low, high = ends
    if value and not low <= value <= high:
        row.fault("interval", "does not hold the value; the lower end stands first")
    return low, high


def _conditions(row: Table) -> tuple[Condition, ...]:
    when, found = row.table("when", _WHEN, filled=True), []
    for answer in when.values:
        if answer not in ANSWERS:
            when.fault(answer, f"there is no such answer; known are {', '.join(ANSWERS)}")
            continue
        tests = when.table(answer, f"needs one of {', '.join(_operators(answer))}", filled=True)
        found += [_condition(tests, answer, operator) for operator in tests.values]
    return tuple(found)


def _condition(tests: Table, answer: str, operator: str) -> Condition:
    value, kind = tests.values[operator], ANSWERS[answer]
    if operator not in _operators(answer):
        tests.fault(operator, f"is no operator of {answer}; known are {', '.join(_operators(answer))}")
    elif operator == "in" and (not isinstance(value, list) or not value):
        tests.fault(operator, "must be a list of answers")
    else:
        for one in value if operator == "in" else [value]:
            wrong = _wrong_answer(one, kind)
            if wrong:
                tests.fault(operator, wrong)
    return Condition(answer, operator, tuple(value) if isinstance(value, list) else value)


def _operators(answer: str) -> tuple[str, ...]:
    kind = ANSWERS[answer]
    return _OPERATORS[tuple if isinstance(kind, tuple) else kind]


def _wrong_answer(value: Any, kind: tuple[str, ...] | type) -> str:
    """Say why no answer can be like this; empty where one can."""
    if isinstance(kind, tuple):
        return "" if value in kind else f"{quote(value)} is none of {', '.join(kind)}"
    if kind is bool:
        return "" if isinstance(value, bool) else "must be true or false"
    return "" if type(value) is int and 0 <= value <= 150 else "must be a whole number from 0 to 150"
