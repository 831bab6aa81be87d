"""A rule set as data: what `ruleset.load` returns and the engine reads."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Literal

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.ruleset.vocabulary import LEADING, Anchor

Spacing = Literal["anchored", "attendance"]
Then = Literal["open", "end", "ask"]
Urgency = Literal["A", "B", "C"]
AS_DECIDED, ONCE, LASTING = "as_decided", "once:", "/"


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
    early: Duration
    late: Duration
    once: bool
    as_decided: bool = False

    @cached_property
    def is_range(self) -> bool:
        return self.short != self.long

    @cached_property
    def code(self) -> str:
        """What a reason carries of it: P3M/P2Y, once:P14D."""
        if self.as_decided:
            return AS_DECIDED
        ends = (self.short, self.long) if self.is_range else (self.target,)
        span = "..".join(dates.format(end) for end in ends)
        if self.once:
            return f"{ONCE}{span}"
        return span + (f"{LASTING}{dates.format(self.length)}" if self.length is not None else "")


# A phase, and how far from the anchor one of its intervals begins and ends.
Step = tuple[Phase, Duration, Duration]


def steps(phases: tuple[Phase, ...], anchor: date) -> Iterator[Step]:
    """Say how far from the anchor each interval begins and ends; one on a phase end belongs to the earlier phase."""
    offset = dates.ZERO
    for phase in phases:
        end = offset + phase.length if phase.length is not None else None
        start, following = offset, offset + phase.target
        while end is None or dates.is_not_after(anchor, following, end):
            yield phase, start, following
            start, following = following, following + phase.target
            if phase.once:
                break
        if end is not None:
            offset = end


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

    @cached_property
    def steps(self) -> tuple[Step, ...] | None:
        """Those of a schedule in whole months that ends, the same from every anchor; None for any other."""
        spans = [span for phase in self.phases for span in (phase.target, phase.length)]
        if not spans or any(span is None or span.days for span in spans):
            return None
        return tuple(steps(self.phases, date(2000, 1, 1)))

    @cached_property
    def is_as_decided(self) -> bool:
        return any(phase.as_decided for phase in self.phases)

    def may_be_about(self, name: str, word: str) -> bool:
        """Whether nothing that the rule asks of this one fact excludes the word."""
        asked = (one for one in self.when if one.field == name and one.operator in ("is", "in"))
        return all(word in condition.values for condition in asked)


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

    def about(self, anchor: Anchor, word: str) -> tuple[Rule, ...]:
        """The rules of a kind of fact that its code, tier or other leading word leaves open; sought once a word."""
        key = anchor, word
        if key not in self._about:
            name, rules = LEADING[anchor], self.by_anchor.get(anchor, ())
            self._about[key] = tuple(rule for rule in rules if rule.may_be_about(name, word))
        return self._about[key]

    @cached_property
    def _about(self) -> dict[tuple[str, str], tuple[Rule, ...]]:
        return {}
