"""Judge answers by the criteria of the risk tiers: what may be answered, what follows, what the assessor decides."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

TIERS: Final = ("average", "above_average", "high", "very_high")
# What an answer may be: one of a closed list of words, yes or no, a whole number.
ANSWERS: Final[Mapping[str, tuple[str, ...] | type]] = {
    "age": int,
    "naevi": ("0-15", "16-40", "41-100", "over100"),
    "atypical": ("0", "1-5", "6-10", "over10"),
    "phototype": ("I", "II", "III", "IV", "V", "VI"),
    "red_hair": bool,
    "blue_eyes": bool,
    "relatives": int,
    "other_relatives": int,
    "affected_relatives": int,
    "gene_carrier": bool,
    "past_melanoma": bool,
    "several_melanomas": bool,
    "dysplastic_syndrome": bool,
    "past_keratinocyte": bool,
    "family_keratinocyte": bool,
    "many_keratoses": bool,
    "some_keratoses": bool,
    "sunburns": bool,
    "blistering_burns": bool,
    "sunbeds": bool,
    "immunosuppressed": bool,
    "transplanted": bool,
}
# Worked out of other answers, never asked.
DERIVED: Final = ("age", "affected_relatives")
# From this relative risk on the assessor chooses where the criteria say average. Clinic setting, no source.
CHOICE_FROM: Final = 3.0

Answers = Mapping[str, Any]


@dataclass(frozen=True)
class Condition:
    """One test of one answer, such as: age is over 45."""

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
class Prompt:
    """A question for whoever assesses, where every condition holds; it moves no tier."""

    id: str
    words: str
    when: tuple[Condition, ...]
    source: str
    edition: str
    flag: str

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
    """The criteria of the risk tiers, with what is asked and shown beside them."""

    name: str
    title: str
    criteria: tuple[Criterion, ...]
    prompts: tuple[Prompt, ...]
    context: tuple[Context, ...]
    lifetime: tuple[Lifetime, ...]
    notes: tuple[Note, ...]

    def judge(self, answers: Answers) -> tuple[str, list[Criterion]]:
        """Find the highest tier of which a criterion holds, and every criterion that holds, highest first."""
        held = [criterion for criterion in self.criteria if criterion.holds(answers)]
        # A stable sort: within a tier they stay in the order in which the clinic wrote them.
        held.sort(key=lambda criterion: -TIERS.index(criterion.tier))
        return (held[0].tier if held else TIERS[0]), held

    def context_of(self, answers: Answers) -> list[Context]:
        return [row for row in self.context if row.holds(answers)]

    def prompts_of(self, answers: Answers) -> list[Prompt]:
        return [row for row in self.prompts if row.holds(answers)]

    def against_average(self, answers: Answers) -> list[Context]:
        """Find the published figures because of which an average tier is the assessor's choice, not the criteria's."""
        if self.judge(answers)[0] != TIERS[0]:
            return []
        return [row for row in self.context_of(answers) if row.value >= CHOICE_FROM]
