"""What the engine answers: due items with their reasons, problems for a person, and how long it holds."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any


@dataclass(frozen=True)
class Reason:
    rule: str
    text: str
    source: str
    anchor: date


@dataclass(frozen=True)
class Due:
    """One planned occurrence; `reasons` holds every rule that matched, the governing one first."""

    purpose: str
    subject: str
    rule: str
    anchor: date
    number: int
    earliest: date
    target: date
    latest: date
    urgency: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, order=True)
class Problem:
    """Something only a person can answer; the plan never guesses it."""

    code: str
    subject: str
    text: str


@dataclass(frozen=True)
class Plan:
    due: tuple[Due, ...]
    problems: tuple[Problem, ...]
    valid_until: date
    today: date
    ruleset: dict[str, str] = field(default_factory=dict)
    schema: int = 2

    def to_json(self) -> dict[str, Any]:
        """The object of interfaces.md."""
        return {
            "schema": self.schema,
            "ruleset": dict(self.ruleset),
            "today": self.today.isoformat(),
            "valid_until": self.valid_until.isoformat(),
            "due": [_plain(asdict(due)) for due in self.due],
            "problems": [asdict(problem) for problem in self.problems],
        }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(entry) for entry in value]
    return value.isoformat() if isinstance(value, date) else value
