"""What somebody typed to find a patient, taken apart: names, days of birth and numbers, in any order. No database."""

import re
from dataclasses import dataclass
from datetime import date
from typing import Final

from clinic.formats.days import MONTHS
from clinic.formats.folding import fold
from clinic.formats.language import ENGLISH, Language

# Nobody types more by hand, and patterns over a pasted letter would cost more than a page may take.
LONGEST: Final = 200
MOST_WORDS: Final = 8
_ENGLISH_MONTHS: Final = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
    "november", "december",
)  # fmt: skip
# Outside these years four figures are part of a number and no year of birth.
_YEARS: Final = range(1880, 2200)
_DAYS: Final = (
    re.compile(r"(?<!\w)(?P<year>\d{4})[-./](?P<month>\d{1,2})[-./](?P<day>\d{1,2})(?!\w)"),
    # Where the year stands last, the day stands first: guessing between two orders would find the wrong person.
    re.compile(r"(?<!\w)(?P<day>\d{1,2})(?:[-/]|\. ?)(?P<month>\d{1,2})(?:[-/]|\. ?)(?P<year>\d{4})(?!\w)"),
    re.compile(r"(?<!\w)(?P<day>\d{1,2})[. -]+(?P<month>[^\W\d_]{3,})[., -]+(?P<year>\d{4})(?!\w)"),
)
_RECORD: Final = re.compile(r"(?<!\w)qd[\s-]*(\d+)(?!\w)", re.IGNORECASE)
_NUMBER: Final = re.compile(r"(?<!\w)[+(]*\d(?:[\d\s()./-]*\d)?(?!\w)")


@dataclass(frozen=True)
class Sought:
    """All must fit: folded beginnings of names, days of birth, numbers of records, and numbers that may be either."""

    words: tuple[str, ...] = ()
    days: tuple[date, ...] = ()
    records: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        return not (self.words or self.days or self.records or self.numbers)


def read(text: str, language: Language = ENGLISH) -> Sought:
    """Take apart what was typed; what is no day and no number is a word of a name."""
    rest, days = _take_days(text[:LONGEST], language)
    records = tuple(_RECORD.findall(rest))
    # In this order: a day looks like a number, and a record's figures look like those of a telephone.
    rest = _RECORD.sub(" ", rest)
    numbers = tuple(_NUMBER.findall(rest))
    words = [fold(word) for word in re.split(r"[\s,;]+", _NUMBER.sub(" ", rest))]
    return Sought(tuple(word for word in words if word)[:MOST_WORDS], days, records, numbers)


def _take_days(text: str, language: Language) -> tuple[str, tuple[date, ...]]:
    """Take the days out of a text; what looks like one and is none stays."""
    days: list[date] = []

    def take(found: re.Match[str]) -> str:
        day = _day_of(found["year"], found["month"], found["day"], language)
        days.extend([day] if day else [])
        return " " if day else found[0]

    for pattern in _DAYS:
        text = pattern.sub(take, text)
    return text, tuple(days)


def _day_of(year: str, month: str, day: str, language: Language) -> date | None:
    number = int(month) if month.isdecimal() else _month_of(fold(month), language)
    try:
        return date(int(year), number, int(day)) if int(year) in _YEARS else None
    except ValueError:
        return None


def _month_of(word: str, language: Language) -> int:
    """Read a month in English or in the reader's language, whole or shortened to three letters; 0 if it is none."""
    for number, (short, long) in enumerate(zip(MONTHS, _ENGLISH_MONTHS, strict=True), start=1):
        if fold(long).startswith(word) or word.startswith(fold(language.translate(short))):
            return number
    return 0
