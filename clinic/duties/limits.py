"""Say within how many days each duty is to be done: by the clinic's policy, or by the shipped file without one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from importlib.resources import files

from clinic import policies
from clinic.duties import wording
from clinic.duties.kinds import KINDS
from clinic.formats import strict_toml
from clinic.formats.strict_toml import Table
from clinic.models import PolicyKind

# What a plan gives its own window to has no limit of this table.
WITH_A_WINDOW = ("recall", "what_follows")
LIMITED = tuple(code for code in KINDS if code not in WITH_A_WINDOW)
_LONGEST = 365


@dataclass(frozen=True)
class Limit:
    days: int
    urgent: int
    working: bool

    def due_on(self, opened: date, urgent: bool) -> date:
        """Work out the last day on which the duty is in time; working days are Monday to Friday."""
        days = self.urgent if urgent else self.days
        return working_days_after(opened, days) if self.working else opened + timedelta(days=days)


def working_days_after(day: date, count: int) -> date:
    """Count so many working days on from a day, Monday to Friday."""
    while count:
        day += timedelta(days=1)
        count -= day.weekday() < 5
    return day


def shipped() -> str:
    return files("clinic.duties").joinpath("limits.toml").read_text(encoding="utf-8")


def in_force() -> Mapping[str, Limit]:
    policy = policies.in_force(PolicyKind.DUTY_LIMITS)
    # A new clinic has approved nothing yet, and a duty without a day would never be late.
    return limits(policy.toml if policy else shipped())


# Each opened duty asks; the text in force changes a few times a year.
@lru_cache(maxsize=4)
def limits(text: str) -> Mapping[str, Limit]:
    return strict_toml.load(text, _build)


def check(text: str) -> list[str]:
    """List the faults of a proposed policy in the reader's language."""
    return [wording.say_fault(fault) for fault in strict_toml.read(text, _build)[1]]


def _build(whole: Table) -> Mapping[str, Limit]:
    whole.has_schema(1)
    whole.has_keys(("schema", "title", "days"))
    whole.text("title")
    days = whole.table("days", filled=True)
    # Every duty, none twice: a kind left out would have no day and so never turn red.
    days.has_keys(LIMITED)
    return {code: _limit(days.table(code, "no_days")) for code in LIMITED}


def _limit(row: Table) -> Limit:
    row.has_keys(("days", "urgent"), ("working",))
    days, urgent = _days(row, "days"), _days(row, "urgent")
    # The commonest slip in such a table, and one that would make the urgent wait longest.
    if urgent > days:
        row.fault("urgent", "urgent_longer")
    working = row.values.get("working", False)
    if not isinstance(working, bool):
        row.fault("working", "no_yes_or_no")
    return Limit(days, urgent, working is True)


def _days(row: Table, key: str) -> int:
    value = row.number(key, above=-1, below=_LONGEST + 1)
    if value is not None and value != int(value):
        row.fault(key, "no_whole_days")
    return int(value or 0)
