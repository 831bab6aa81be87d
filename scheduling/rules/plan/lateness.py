"""Work out how late something is, in whole days; the day after the latest day is the first late one."""

from __future__ import annotations

from datetime import date, timedelta


def days_late(latest: date, today: date) -> int:
    """
    Count the days by which `today` lies past the latest day, 0 when it does not.

    Notes
    -----
    Overdue from the day after the window closes: clinic setting, no source (docs/sources.md, "Dates").
    """
    return max(0, (today - latest).days)


def opens_on(earliest: date, ladder_days: int) -> date:
    """Give the day on which a recall enters the list of the day: its ladder's length before its earliest day."""
    return earliest - timedelta(days=ladder_days)
