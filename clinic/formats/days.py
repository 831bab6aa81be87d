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
_DAY_OF_YEAR: Final = gettext_noop("{day} {month}")
_SPAN: Final = gettext_noop("{first} to {last}")
_MONTH: Final = gettext_noop("{month} {year}")


def write_day(day: date, language: Language = ENGLISH) -> str:
    """Write a day as 3 Mar 2026: never in figures alone, which two countries read in two ways."""
    month = language.translate(MONTHS[day.month - 1])
    return language.translate(_DAY).format(day=day.day, month=month, year=day.year)


def write_month(day: date, language: Language = ENGLISH) -> str:
    """Write the month of a day as Mar 2026."""
    month = language.translate(MONTHS[day.month - 1])
    return language.translate(_MONTH).format(month=month, year=day.year)


def write_span(first: date, last: date, language: Language = ENGLISH) -> str:
    """Write two days as 25 Sep to 23 Oct 2026: the year once where both share it, one day as a day."""
    if first == last:
        return write_day(last, language)
    start = write_day(first, language)
    if first.year == last.year:
        month = language.translate(MONTHS[first.month - 1])
        start = language.translate(_DAY_OF_YEAR).format(day=first.day, month=month)
    return language.translate(_SPAN).format(first=start, last=write_day(last, language))
