"""Close the clinic on the public holidays of its country, unless it works on them, by a well-kept library."""

from datetime import date, timedelta

import holidays as library
from django.conf import settings
from django.db import transaction

from clinic.trail import audit
from scheduling.models import ClosureDay, WorkedHoliday
from scheduling.planning import rebook

# Further than sessions are opened ahead (`sessions.HORIZON`), or somebody could be booked on a holiday.
AHEAD = timedelta(days=540)


def between(since: date, until: date) -> dict[date, str]:
    """Name the public holidays of these days, in the language of the country; none where no country is set."""
    country, _sep, subdivision = settings.PUBLIC_HOLIDAYS.partition("-")
    if not country:
        return {}
    years = range(since.year, until.year + 1)
    found = library.country_holidays(country, subdiv=subdivision or None, years=years)
    # Asked twice: only the answer says which language the country's own is; unasked, the names come in the language
    # of the process.
    if found.default_language:
        found = library.country_holidays(
            country, subdiv=subdivision or None, years=years, language=found.default_language
        )
    return {day: name for day, name in sorted(found.items()) if since <= day <= until}


def close_ahead(today: date) -> int:
    """Close each public holiday of the next year and a half, every morning; what is booked on it is rebooked."""
    known = between(today, today + AHEAD)
    worked = set(WorkedHoliday.objects.filter(day__in=known).values_list("day", flat=True))
    closed = set(ClosureDay.objects.filter(day__in=known).values_list("day", flat=True))
    new = {day: name for day, name in known.items() if day not in worked | closed}
    for day, name in new.items():
        # A day at a time: SQLite has one writer, and rebooking a full day is work.
        with transaction.atomic():
            row = ClosureDay.objects.create(day=day, reason=name[:80], holiday=True)
            audit.record("diary.close", by=None, subject=row, day=str(day), reason=name)
            rebook.rebook_of_day(row, None)
    return len(new)
