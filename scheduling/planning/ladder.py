"""Say how often and how somebody is tried, by urgency: by the clinic's policy, or by the shipped file without one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from importlib.resources import files

from clinic import policies
from clinic.duties.limits import working_days_after
from clinic.formats import strict_toml
from clinic.formats.strict_toml import Table
from clinic.models import PolicyKind, RouteKind
from scheduling.models import Urgency

_MOST_ATTEMPTS, _LONGEST_DAYS, _PARTS_OF_DAY = 12, 120, 2


@dataclass(frozen=True)
class Ladder:
    """How somebody is tried: one route for each attempt; `last` goes out when all of them are used up."""

    routes: tuple[str, ...]
    days_apart: int
    within_days: int
    times_of_day: int
    last: str = ""

    @property
    def attempts(self) -> int:
        return len(self.routes)

    def next_route(self, tried: int) -> str:
        """Give the route of the next attempt; the last one where they are used up."""
        return self.routes[tried] if tried < self.attempts else self.last or self.routes[-1]

    def next_day(self, last: date, latest: date, urgent: bool) -> date:
        """Give the day of the next attempt after one on `last`: never put off past the window's last day."""
        tomorrow = working_days_after(last, 1)
        spaced = tomorrow if urgent and self.days_apart == 1 else last + timedelta(days=self.days_apart)
        return max(tomorrow, min(spaced, latest))


@dataclass(frozen=True)
class Standing:
    """What no clinic changes: `lead_days` before its earliest day a recall comes on the list; who may close it."""

    lead_days: int
    closed_by_desk: bool = False


STANDING: dict[str, Standing] = {
    # No lead: what is urgent is called for on the day on which it is known.
    Urgency.A: Standing(lead_days=0),
    Urgency.B: Standing(lead_days=28),
    Urgency.C: Standing(lead_days=28, closed_by_desk=True),
}

# Two calls within four hours are one attempt, whichever number was rung. "Cannot be reached" is looked at again.
ONE_ATTEMPT_HOURS = 4
LOOK_AGAIN_DAYS = 90


def standing_of(urgency: str) -> Standing:
    return STANDING[urgency]


def shipped() -> str:
    return files("scheduling.planning").joinpath("ladder.toml").read_text(encoding="utf-8")


def in_force() -> Mapping[str, Ladder]:
    """Give the ladders that hold now, by urgency: asked once for a list, never for each of its rows."""
    text = policies.texts_in_force(PolicyKind.LADDER).get(PolicyKind.LADDER)
    return ladders(text or shipped())


def ladder_of(urgency: str) -> Ladder:
    return in_force()[urgency]


@lru_cache(maxsize=4)
def ladders(text: str) -> Mapping[str, Ladder]:
    return strict_toml.load(text, _build)


def check(text: str) -> list[str]:
    """List the faults of a proposed policy in sentences."""
    _, faults = strict_toml.read(text, _build)
    return [str(fault) for fault in faults]


def _build(whole: Table) -> Mapping[str, Ladder]:
    whole.has_schema(1)
    whole.has_keys(("schema", "title", "urgency"))
    whole.text("title")
    by_urgency = whole.table("urgency", filled=True)
    by_urgency.has_keys(Urgency.values)
    return {
        code: _ladder(by_urgency.table(code, "must say how somebody is tried")) for code in Urgency.values
    }


def _ladder(row: Table) -> Ladder:
    row.has_keys(("routes", "days_apart", "within_days", "times_of_day"), ("last",))
    routes, last = row.texts("routes"), row.text_or_none("last") or ""
    if not 1 <= len(routes) <= _MOST_ATTEMPTS:
        row.fault("routes", f"must be 1 to {_MOST_ATTEMPTS} attempts")
    for route in (*routes, *([last] if last else ())):
        if route not in RouteKind.values:
            row.fault("routes", f"{route!r} is none of {', '.join(RouteKind.values)}")
    apart, within = _days(row, "days_apart", 1), _days(row, "within_days", 1)
    if apart * (len(routes) - 1) > within:
        row.fault("within_days", "is too short for so many attempts so far apart")
    times = _days(row, "times_of_day", 1)
    if times > _PARTS_OF_DAY:
        row.fault("times_of_day", f"must be 1 or {_PARTS_OF_DAY}: in the morning and in the afternoon")
    return Ladder(tuple(routes) or ("phone",), apart, within, times, last)


def _days(row: Table, key: str, least: int) -> int:
    value = row.number(key, above=least - 1, below=_LONGEST_DAYS + 1)
    if value is not None and value != int(value):
        row.fault(key, "must be a whole number")
    return int(value or least)
