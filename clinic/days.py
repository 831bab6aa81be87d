"""Days as people read them: the one writer of dates for the whole program."""

from datetime import date
from typing import Final

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def write_day(day: date) -> str:
    """Write a day as 3 Mar 2026: never in figures alone, which two countries read in two ways."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"
