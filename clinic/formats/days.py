"""Days as people read them: the one writer of dates for the whole program."""

from datetime import date
from typing import Final

from clinic.formats.language import ENGLISH, Language, gettext_noop

MONTHS: Final = (
    gettext_noop("Jan"), gettext_noop("Feb"), gettext_noop("Mar"), gettext_noop("Apr"), gettext_noop("May"),
    gettext_noop("Jun"), gettext_noop("Jul"), gettext_noop("Aug"), gettext_noop("Sep"), gettext_noop("Oct"),
    gettext_noop("Nov"), gettext_noop("Dec"),
)  # fmt: skip
_DAY: Final = gettext_noop("{day} {month} {year}")
_MONTH: Final = gettext_noop("{month} {year}")


def write_day(day: date, language: Language = ENGLISH) -> str:
    """Write a day as 3 Mar 2026: never in figures alone, which two countries read in two ways."""
    month = language.translate(MONTHS[day.month - 1])
    return language.translate(_DAY).format(day=day.day, month=month, year=day.year)


def write_month(day: date, language: Language = ENGLISH) -> str:
    """Write the month of a day as Mar 2026."""
    month = language.translate(MONTHS[day.month - 1])
    return language.translate(_MONTH).format(month=month, year=day.year)
