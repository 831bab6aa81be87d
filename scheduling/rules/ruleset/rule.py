"""A rule set as data: what `ruleset.load` returns and the engine reads."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.ruleset.vocabulary import Anchor

Spacing = Literal["anchored", "attendance"]
Then = Literal["open", "end", "ask"]
Urgency = Literal["A", "B", "C"]


@dataclass(frozen=True)
class Condition:
    """One whitelisted comparison of one fact: `operator` is is, in, not_in, at_least or below."""

    field: str
    operator: str
    values: tuple[str | bool, ...]


@dataclass(frozen=True)
class Phase:
    """
    Visits `target` apart; visit k may fall from (k-1)·target + `short` to (k-1)·target + `long`.

    `early` and `late` widen a single interval and are nothing for a published range. `length` is None
    for an open phase; `once` is a single visit; `as_decided` takes the interval from the decision.
    """

    short: Duration
    long: Duration
    target: Duration
    length: Duration | None
    early: Duration = dates.ZERO
    late: Duration = dates.ZERO
    once: bool = False
    as_decided: bool = False

    @property
    def is_range(self) -> bool:
        return self.short != self.long


@dataclass(frozen=True)
class Texts:
    """What a rule set says in other languages, by key and language: title_de."""

    by_key: tuple[tuple[str, str], ...] = ()

    def get(self, key: str, language: str) -> str:
        return dict(self.by_key).get(f"{key}_{language}", "")


@dataclass(frozen=True)
class Rule:
    id: str
    title: str
    purpose: str
    anchor: Anchor
    when: tuple[Condition, ...]
    phases: tuple[Phase, ...]
    then: Then
    notice: Duration
    spacing: Spacing
    urgency: Urgency
    source: str
    edition: str
    flag: str
    approver: str | None = None
    replaces: tuple[str, ...] = ()
    superseded_by: str | None = None
    texts: Texts = field(default_factory=Texts)

    def text(self, key: str, language: str) -> str:
        """Its title, source or edition in a language, where the set gives it in that one."""
        return self.texts.get(key, language) or str(getattr(self, key))


@dataclass(frozen=True)
class RuleSet:
    name: str
    version: str
    sha256: str
    title: str
    rules: tuple[Rule, ...]
    texts: Texts = field(default_factory=Texts)

    def text(self, key: str, language: str) -> str:
        """Its title in a language, where it gives it in that one."""
        return self.texts.get(key, language) or str(getattr(self, key))

    @cached_property
    def by_anchor(self) -> dict[str, tuple[Rule, ...]]:
        """Give the rules for each kind of fact, in the order of the file."""
        found: dict[str, tuple[Rule, ...]] = {}
        for rule in self.rules:
            found[rule.anchor] = (*found.get(rule.anchor, ()), rule)
        return found
