"""Count calendar days by ISO 8601 durations: every date from its anchor, never from the date before."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

_ISO = re.compile(r"P(?=\d)(?:(\d{1,3})Y)?(?:(\d{1,4})M)?(?:(\d{1,4})W)?(?:(\d{1,5})D)?", re.ASCII)
_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True, slots=True)
class Duration:
    """A span of whole months and whole days; either may be negative, both may be zero."""

    months: int = 0
    days: int = 0

    def __add__(self, other: Duration) -> Duration:
        return Duration(self.months + other.months, self.days + other.days)

    def __bool__(self) -> bool:
        return bool(self.months or self.days)


ZERO = Duration()


def parse(text: str) -> Duration:
    """
    Read an ISO 8601 duration of years, months, weeks and days.

    Parameters
    ----------
    text : str
        Such as ``P3M``, ``P2Y``, ``P2M15D`` or ``P6W``; no sign, no fraction, no time of day.

    Raises
    ------
    ValueError
        When the text is anything else.
    """
    found = _ISO.fullmatch(text)
    if found is None:
        raise ValueError(f"“{text}” is not an ISO 8601 duration such as P3M, P2Y or P2M15D")
    years, months, weeks, days = (int(part or 0) for part in found.groups())
    return Duration(12 * years + months, 7 * weeks + days)


def format(duration: Duration) -> str:
    """Write a duration that is not negative in the shortest ISO 8601 form: ``P2Y``, ``P2M15D``, ``P0D``."""
    years, months = divmod(duration.months, 12)
    parts = [f"{n}{unit}" for n, unit in ((years, "Y"), (months, "M"), (duration.days, "D")) if n]
    return "P" + ("".join(parts) or "0D")


def add(day: date, duration: Duration, times: int = 1) -> date:
    """
    Count `times` durations from a day: months first, clamped to the month's end, then days.

    Parameters
    ----------
    day : date
        The anchor. Pass the anchor itself with `times`; adding to an earlier result drifts at month ends.
    duration : Duration
        What is counted.
    times : int
        How often, negative to count backwards.

    Returns
    -------
    date
        31 January and one month give the last day of February; 28 February and one year stay on the 28th.

    Notes
    -----
    Clinic setting, no source (docs/domain.md, point 2; docs/sources.md, "Dates").
    """
    months = duration.months * times
    if months:
        year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
        # Every month has 28 days: only the last ones of a month are ever clamped.
        of_month = day.day if day.day <= 28 else min(day.day, _month_length(year, month))
        day = date(year, month + 1, of_month)
    days = duration.days * times
    return day + _span(days) if days else day


# The same few tolerances come again and again, and making a span takes longer than counting it.
_span = lru_cache(maxsize=1024)(timedelta)


def is_not_after(anchor: date, one: Duration, other: Duration) -> bool:
    """Say whether `one`, counted from the anchor, ends by the day on which `other` does."""
    if not one.days and not other.days:
        return one.months <= other.months  # clamping at the month's end changes no order of whole months
    return add(anchor, one) <= add(anchor, other)


def is_half_or_more(start: date, end: date, interval: Duration) -> bool:
    """Say whether at least half of `interval`, as it runs from `start`, lies between the two days."""
    return 2 * (end - start).days >= (add(start, interval) - start).days


def longest_days(duration: Duration) -> int:
    """Give an upper bound of the duration in days, for comparing spans of unlike units."""
    return 31 * duration.months + duration.days


def _month_length(year: int, month: int) -> int:
    if month == 1 and year % 4 == 0 and (year % 100 != 0 or year % 400 == 0):
        return 29
    return _LENGTHS[month]
