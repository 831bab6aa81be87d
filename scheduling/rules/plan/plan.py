"""The plan as the engine answers it: due rows with their reasons, problems for a person, and how long it holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from scheduling.rules.plan import messages
from scheduling.rules.plan.messages import Params


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something is due: the rule, what its series comes from (`of`), and a message of code and parameters."""

    rule: str
    of: str
    code: str
    params: Params
    source: str
    anchor: date

    @property
    def text(self) -> str:
        return messages.reason_text(self.code, self.params)

    def to_json(self) -> dict[str, Any]:
        return {
            "rule": self.rule,
            "of": self.of,
            "code": self.code,
            "params": dict(self.params),
            "text": self.text,
            "source": self.source,
            "anchor": self.anchor.isoformat(),
        }


@dataclass(frozen=True)
class Due:
    """One planned occurrence; `reasons` holds every rule that matched, the governing one first."""

    purpose: str
    subject: str
    rule: str
    of: str
    anchor: date
    number: int
    earliest: date
    target: date
    latest: date
    urgency: str
    reasons: tuple[Reason, ...] = ()

    def to_json(self) -> dict[str, Any]:
        return {
            "purpose": self.purpose,
            "subject": self.subject,
            "rule": self.rule,
            "of": self.of,
            "anchor": self.anchor.isoformat(),
            "number": self.number,
            "earliest": self.earliest.isoformat(),
            "target": self.target.isoformat(),
            "latest": self.latest.isoformat(),
            "urgency": self.urgency,
            "reasons": [reason.to_json() for reason in self.reasons],
        }


@dataclass(frozen=True, order=True)
class Problem:
    """Something only a person can answer; the plan never guesses it."""

    code: str
    subject: str
    params: Params = ()

    @property
    def text(self) -> str:
        return messages.problem_text(self.code, self.params)

    def to_json(self) -> dict[str, Any]:
        return {"code": self.code, "subject": self.subject, "params": dict(self.params), "text": self.text}


@dataclass(frozen=True)
class Plan:
    due: tuple[Due, ...]
    problems: tuple[Problem, ...]
    valid_until: date
    today: date
    ruleset: dict[str, str] = field(default_factory=dict)
    schema: int = 2

    def to_json(self) -> dict[str, Any]:
        """Write the plan as the JSON object of docs/interfaces.md."""
        return {
            "schema": self.schema,
            "ruleset": dict(self.ruleset),
            "today": self.today.isoformat(),
            "valid_until": self.valid_until.isoformat(),
            "due": [due.to_json() for due in self.due],
            "problems": [problem.to_json() for problem in self.problems],
        }
