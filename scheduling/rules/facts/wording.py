"""Say what is wrong with FACTS, in the language of the reader: beside a form as well as on a command line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from clinic.formats.language import ENGLISH, Language, gettext_noop

SENTENCES: Final[Mapping[str, str]] = {
    "null": gettext_noop("may not be null"),
    "no_list": gettext_noop("expected a list"),
    "too_many": gettext_noop("has {count} entries, more than {most}"),
    "no_object": gettext_noop("expected an object"),
    "unknown_key": gettext_noop("is not a key of FACTS"),
    "missing_key": gettext_noop("is missing; an unknown value is written as null"),
    "missing": gettext_noop("is missing"),
    "no_choice": gettext_noop("“{value}” is not one of: {known}"),
    "wrong_type": gettext_noop("expected {meaning}"),
    "out_of_range": gettext_noop("is out of range"),
    "too_long": gettext_noop("is longer than {most} characters"),
    "no_match": gettext_noop("“{value}” is not {meaning}"),
    "no_day": gettext_noop("“{value}” is not a day written YYYY-MM-DD"),
    "no_calendar_day": gettext_noop("“{value}” is not a day of the calendar"),
    "day_outside": gettext_noop("“{value}” is not between {first} and {last}"),
    "twice": gettext_noop("“{value}” stands twice"),
    "after_assessment": gettext_noop("{value} lies after the assessment"),
    "interval_or_date": gettext_noop("give either an interval or a date"),
    "no_interval": gettext_noop("an interval must be longer than nothing"),
    "belongs_elsewhere": gettext_noop("{value} belongs to the {kind}"),
    "wrong_schema": gettext_noop("only schema 2 is understood"),
    "key_twice": gettext_noop("stands twice in one object"),
}


def say(code: str, params: Mapping[str, Any], language: Language = ENGLISH) -> str:
    """Write what is wrong; where it is, the path says. What a value should mean is a phrase of ours as well."""
    given = dict(params)
    if "meaning" in given:
        given["meaning"] = language.translate(given["meaning"])
    return language.translate(SENTENCES[code]).format(**given)
