"""Read the criteria of the risk tiers from TOML: known names and tests only, no expressions; faults with their path."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from clinic.formats import strict_toml
from clinic.formats.strict_toml import Fault, Table, as_number, quote, repeated
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
# A question or a figure is always somebody's who published it; only a tier may rest on the clinic alone.
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
# What may stand in other languages as well, with the code of the language behind: words_de.
_SPOKEN = ("title", "words", "population")
_HIGHEST = 1_000_000
# A code with its values, or nothing.
_Wrong = tuple[str, dict[str, Any]] | None


def load(text: str, language: str = "") -> TierSet:
    """Read a set of criteria, with the texts of this language; FaultyText with every fault where it cannot be used."""
    return strict_toml.load(text, _Reader(language).tier_set)


def check(text: str) -> list[Fault]:
    """List every fault with its place, in the order of the file; empty when the set may be used."""
    return strict_toml.read(text, _Reader("").tier_set)[1]


@dataclass(frozen=True)
class _Reader:
    """Read a set; of texts that stand in more than one language (`words_de` beside `words`) that of the reader."""

    language: str

    def tier_set(self, whole: Table) -> TierSet:
        whole.has_keys((), more=_HEAD, spoken=_SPOKEN)
        whole.has_schema(1)
        criteria = _rows(whole, "criterion", _CRITERION, ("approver",), needed=True)
        lifetime, notes = (_rows(whole, "lifetime", _LIFETIME), _rows(whole, "note", _NOTE))
        return TierSet(
            name=whole.text("name"),
            title=whole.text_in("title", self.language),
            criteria=tuple(self.criterion(row) for row in criteria),
            prompts=tuple(self.prompt(row) for row in _rows(whole, "prompt", _PROMPT)),
            context=tuple(self.context(row) for row in _rows(whole, "context", _CONTEXT, ("interval",))),
            lifetime=tuple(Lifetime(**self.published(row, _LIFETIME)) for row in lifetime),
            notes=tuple(Note(**self.published(row, _NOTE)) for row in notes),
        )

    def criterion(self, row: Table) -> Criterion:
        source, approver = _source(row), row.text_or_none("approver") or ""
        if source == SOURCELESS and not approver:
            row.fault("approver", "no_approver")
        if (source == SOURCELESS) != (row.values["flag"] == "design"):
            row.fault("flag", "design_alone", words=SOURCELESS)
        return Criterion(
            tier=row.choice("tier", TIERS[1:]),
            when=_conditions(row),
            source=source,
            flag=row.choice("flag", FLAGS),
            approver=approver,
            **{key: row.text_in(key, self.language) for key in ("id", "words", "edition")},
        )

    def prompt(self, row: Table) -> Prompt:
        return Prompt(when=_conditions(row), **self.published(row, ("id", "words", "source", "edition")))

    def context(self, row: Table) -> Context:
        value = row.number("value", above=0, below=_HIGHEST) or 0.0
        return Context(
            when=_conditions(row),
            value=value,
            interval=_interval(row, value) if "interval" in row.values else None,
            **self.published(row, ("id", "words", "source", "year")),
        )

    def published(self, row: Table, keys: tuple[str, ...]) -> dict[str, str]:
        """Read a table of texts that stands for something published, with its mark."""
        texts = {key: row.text_in(key, self.language) for key in keys if key not in ("source", "flag")}
        return texts | {"source": _source(row), "flag": row.choice("flag", PUBLISHED)}


def _rows(
    whole: Table, name: str, keys: tuple[str, ...], more: tuple[str, ...] = (), needed: bool = False
) -> list[Table]:
    """Give the tables of a list that lack no key."""
    tables = whole.tables(name, needed=needed)
    for table in repeated(tables, "id"):
        table.fault("id", "twice", id=table.values["id"])
    return [table for table in tables if table.has_keys(keys, more, spoken=_SPOKEN)]


def _source(row: Table) -> str:
    source = row.text("source")
    # Three letters: a dash or a full stop names nobody, and is what people type into a field that must not be empty.
    if source and source != SOURCELESS and len(re.findall(r"[^\W\d_]", source)) < 3:
        row.fault("source", "no_source", words=f"“{SOURCELESS}”")
    return source


def _interval(row: Table, value: float) -> tuple[float, float] | None:
    pair = row.values["interval"]
    ends = [as_number(end) or 0.0 for end in pair] if isinstance(pair, list) else []
    if len(ends) != 2 or not all(0 < end < _HIGHEST for end in ends):
        row.fault("interval", "no_interval")
        return None
    low, high = ends
    # A value that is no number has its own fault already, and lies in no interval.
    if value and not low <= value <= high:
        row.fault("interval", "value_outside")
    return low, high


def _conditions(row: Table) -> tuple[Condition, ...]:
    when, found = row.table("when", "no_answer", filled=True, like="{ red_hair.is = true }"), []
    for answer in when.values:
        if answer not in ANSWERS:
            when.fault(answer, "unknown_answer", known=tuple(ANSWERS))
            continue
        tests = when.table(answer, "no_test", filled=True, known=_operators(answer))
        found += [_condition(tests, answer, operator) for operator in tests.values]
    return tuple(found)


def _condition(tests: Table, answer: str, operator: str) -> Condition:
    value, kind = tests.values[operator], ANSWERS[answer]
    if operator not in _operators(answer):
        tests.fault(operator, "unknown_operator", answer=answer, known=_operators(answer))
    elif operator == "in" and (not isinstance(value, list) or not value):
        tests.fault(operator, "no_answers")
    else:
        for one in value if operator == "in" else [value]:
            wrong = _wrong_answer(one, kind)
            if wrong:
                tests.fault(operator, wrong[0], **wrong[1])
    return Condition(answer, operator, tuple(value) if isinstance(value, list) else value)


def _operators(answer: str) -> tuple[str, ...]:
    kind = ANSWERS[answer]
    return _OPERATORS[tuple if isinstance(kind, tuple) else kind]


def _wrong_answer(value: Any, kind: tuple[str, ...] | type) -> _Wrong:
    """Say why no answer can be like this; None where one can."""
    if isinstance(kind, tuple):
        return None if value in kind else ("none_of", {"value": quote(value), "known": kind})
    if kind is bool:
        return None if isinstance(value, bool) else ("no_yes_or_no", {})
    # Not `isinstance`: to Python true is a whole number as well.
    # An age or a count of relatives; above 150 a figure was typed twice.
    return None if type(value) is int and 0 <= value <= 150 else ("no_whole_number", {})
