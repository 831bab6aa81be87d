"""Rule sets: TOML in, checked rules out. A file with a fault is refused as a whole, each fault by its path."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

from scheduling.rules.ruleset.reading import Reader
from scheduling.rules.ruleset.rule import Condition, Fault, Phase, Rule, RuleSet, Spacing, Then, Urgency

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


class FaultyRuleSet(ValueError):
    """A rule set that may not be used, with every fault found."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(f"{fault.path}: {fault.text}" for fault in faults))
        self.faults = faults


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
    reader = Reader()
    data = _decode(text, reader)
    ruleset = reader.ruleset(data, text) if data is not None else None
    if reader.faults or ruleset is None:
        raise FaultyRuleSet(reader.faults)
    return ruleset


def check(text: str) -> list[Fault]:
    """Every fault of a rule set by path, in the order of the file; empty when it may be used."""
    try:
        load(text)
    except FaultyRuleSet as refused:
        return refused.faults
    return []


def shipped(name: str) -> str:
    """The text of a rule set that comes with the program; KeyError for an unknown name."""
    if name not in shipped_names():
        raise KeyError(name)
    return _folder().joinpath(f"{name}.toml").read_text(encoding="utf-8")


def shipped_names() -> list[str]:
    """Names of the rule sets that come with the program, the clinic's default first."""
    found = [
        entry.name.removesuffix(".toml") for entry in _folder().iterdir() if entry.name.endswith(".toml")
    ]
    return sorted(found, key=lambda name: (name != "default", name))


def _folder() -> Traversable:
    return resources.files("scheduling").joinpath("rulesets")


def _decode(text: str, reader: Reader) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"at line (\d+)", str(error))
        line = int(found[1]) if found else max(1, len(text.splitlines()))
        reader.faults.append(Fault("", line, f"not readable as TOML: {error}"))
        return None
    except RecursionError:
        reader.faults.append(
            Fault("", max(1, len(text.splitlines())), "not readable as TOML: nested too deeply")
        )
        return None
