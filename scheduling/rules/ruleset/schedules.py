"""The code of a phase that reasons carry ("P3M for P2Y", "once P14D", "now") in words."""

from __future__ import annotations

from functools import lru_cache

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.ruleset.rule import AS_DECIDED, ONCE

NOW = "now"
_SAID = {NOW: "now", AS_DECIDED: "once, after the months the dermatologist chose"}


@lru_cache(maxsize=1024)
def schedule_words(code: str) -> str:
    """P3M for P2Y: every 3 months for 2 years."""
    if code in _SAID:
        return _SAID[code]
    span, _, length = code.removeprefix(ONCE).partition(" for ")
    ends = [dates.parse(end) for end in span.split("..")]
    said = range_words(*ends) if len(ends) > 1 else duration_words(ends[0])
    if code.startswith(ONCE):
        return f"once, after {said}"
    return f"every {said.removeprefix('1 ')}" + (
        f" for {duration_words(dates.parse(length))}" if length else ""
    )


def duration_words(duration: Duration) -> str:
    """3 months; 2 years; 2 months and 15 days; 6 weeks."""
    years, months = divmod(duration.months, 12)
    if years and months:
        years, months = 0, duration.months
    weeks, days = divmod(duration.days, 7)
    if weeks and (days or duration.months):
        weeks, days = 0, duration.days
    parts = ((years, "year"), (months, "month"), (weeks, "week"), (days, "day"))
    return " and ".join(f"{n} {unit}{'s' if n != 1 else ''}" for n, unit in parts if n) or "0 days"


def range_words(short: Duration, long: Duration) -> str:
    """5 to 7 days; 6 to 12 months; 2 to 5 years; 2 months and 15 days to 4 months and 15 days."""
    if not short.months and not long.months:
        return f"{short.days} to {long.days} days"
    if short.days or long.days:
        return f"{duration_words(short)} to {duration_words(long)}"
    if short.months % 12 or long.months % 12:
        return f"{short.months} to {long.months} months"
    return f"{short.months // 12} to {long.months // 12} years"
