"""A rule set as data: what `ruleset.load` returns and the engine reads."""

from __future__ import annotations

from dataclasses import dataclass
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


@dataclass(frozen=True)
class RuleSet:
    name: str
    version: str
    sha256: str
    title: str
    rules: tuple[Rule, ...]

    @cached_property
    def by_anchor(self) -> dict[str, tuple[Rule, ...]]:
        """Give the rules for each kind of fact, in the order of the file."""
        found: dict[str, tuple[Rule, ...]] = {}
        for rule in self.rules:
            found[rule.anchor] = (*found.get(rule.anchor, ()), rule)
        return found
