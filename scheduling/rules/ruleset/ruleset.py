"""Load and check rule sets. A file with a fault is refused as a whole, each fault named by its path."""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable

from clinic.formats import strict_toml
from clinic.formats.strict_toml import Fault
from clinic.formats.strict_toml import FaultyText as FaultyRuleSet
from scheduling.rules.ruleset.reading import read_ruleset
from scheduling.rules.ruleset.rule import Condition, Phase, Rule, RuleSet, Spacing, Then, Urgency

__all__ = [
    "Condition",
    "Fault",
    "FaultyRuleSet",
    "Phase",
    "Rule",
    "RuleSet",
    "Spacing",
    "Then",
    "Urgency",
    "check",
    "load",
    "shipped",
    "shipped_names",
]


def load(text: str) -> RuleSet:
    """
    Read a rule set.

    Parameters
    ----------
    text : str
        TOML; the keys are those of the shipped sets.

    Raises
    ------
    FaultyRuleSet
        With every fault that `check` names.
    """
    return strict_toml.load(text, lambda whole: read_ruleset(whole, text))


def check(text: str) -> list[Fault]:
    """List every fault of a rule set by path, in the order of the file; without an error it may be used."""
    return strict_toml.read(text, lambda whole: read_ruleset(whole, text))[1]


def shipped(name: str) -> str:
    """Give the text of a rule set that comes with the program; KeyError for an unknown name."""
    if name not in shipped_names():
        raise KeyError(name)
    return _folder().joinpath(f"{name}.toml").read_text(encoding="utf-8")


def shipped_names() -> list[str]:
    """Name the rule sets that come with the program, the clinic's default first."""
    found = [
        entry.name.removesuffix(".toml") for entry in _folder().iterdir() if entry.name.endswith(".toml")
    ]
    return sorted(found, key=lambda name: (name != "default", name))


def _folder() -> Traversable:
    return resources.files("scheduling").joinpath("rulesets")
