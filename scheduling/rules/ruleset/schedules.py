"""The code of a phase that reasons carry ("P3M/P2Y", "once:P14D", "now") in words."""

from __future__ import annotations

from clinic.formats.language import ENGLISH, Language, gettext_noop
from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.ruleset.rule import AS_DECIDED, LASTING, ONCE

NOW = "now"
_SAID = {
    NOW: gettext_noop("now"),
    AS_DECIDED: gettext_noop("once, after the months the dermatologist chose"),
}


def schedule_words(code: str, language: Language = ENGLISH) -> str:
    """P3M/P2Y: every 3 months for 2 years."""
    if code in _SAID:
        return language.translate(_SAID[code])
    span, _sep, length = code.removeprefix(ONCE).partition(LASTING)
    short, *long = (dates.parse(end) for end in span.split(".."))
    if code.startswith(ONCE):
        said = range_words(short, long[0], language) if long else duration_words(short, language)
        return language.translate("once, after {span}").format(span=said)
    every = _every_range(short, long[0], language) if long else every_words(short, language)
    if not length:
        return every
    lasting = duration_words(dates.parse(length), language)
    return language.translate("{every} for {length}").format(every=every, length=lasting)


def every_words(interval: Duration, language: Language = ENGLISH) -> str:
    """every month; every 6 weeks; every 2 months and 15 days"""
    ngettext, parts = language.count, _parts(interval)
    if len(parts) > 1:
        return language.translate("every {span}").format(span=duration_words(interval, language))
    ((unit, count),) = parts.items()
    if unit == "years":
        return ngettext("every year", "every {count} years", count).format(count=count)
    if unit == "months":
        return ngettext("every month", "every {count} months", count).format(count=count)
    if unit == "weeks":
        return ngettext("every week", "every {count} weeks", count).format(count=count)
    return ngettext("every day", "every {count} days", count).format(count=count)


def duration_words(duration: Duration, language: Language = ENGLISH) -> str:
    """3 months; 2 years; 2 months and 15 days; 6 weeks"""
    first, *more = [_unit_words(unit, count, language) for unit, count in _parts(duration).items()]
    for other in more:
        first = language.translate("{first} and {other}").format(first=first, other=other)
    return first


def range_words(short: Duration, long: Duration, language: Language = ENGLISH) -> str:
    """5 to 7 days; 6 to 12 months; 2 to 5 years; 2 months and 15 days to 4 months and 15 days"""
    ngettext = language.count
    if not short.months and not long.months:
        words = ngettext("{short} to {long} day", "{short} to {long} days", long.days)
        return words.format(short=short.days, long=long.days)
    if short.days or long.days:
        ends = duration_words(short, language), duration_words(long, language)
        return language.translate("{short} to {long}").format(short=ends[0], long=ends[1])
    if short.months % 12 or long.months % 12:
        words = ngettext("{short} to {long} month", "{short} to {long} months", long.months)
        return words.format(short=short.months, long=long.months)
    words = ngettext("{short} to {long} year", "{short} to {long} years", long.months // 12)
    return words.format(short=short.months // 12, long=long.months // 12)


def _every_range(short: Duration, long: Duration, language: Language) -> str:
    return language.translate("every {span}").format(span=range_words(short, long, language))


def _parts(duration: Duration) -> dict[str, int]:
    """The largest units in which it is whole: at most months beside days."""
    years, months = divmod(duration.months, 12)
    if years and months:
        years, months = 0, duration.months
    weeks, days = divmod(duration.days, 7)
    if weeks and (days or duration.months):
        weeks, days = 0, duration.days
    found = {"years": years, "months": months, "weeks": weeks, "days": days}
    return {unit: count for unit, count in found.items() if count} or {"days": 0}


def _unit_words(unit: str, count: int, language: Language) -> str:
    # Under gettext's own name, so that the translators' tool finds both forms.
    ngettext = language.count
    if unit == "years":
        return ngettext("{count} year", "{count} years", count).format(count=count)
    if unit == "months":
        return ngettext("{count} month", "{count} months", count).format(count=count)
    if unit == "weeks":
        return ngettext("{count} week", "{count} weeks", count).format(count=count)
    return ngettext("{count} day", "{count} days", count).format(count=count)
