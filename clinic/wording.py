"""Write days and join names in the language of the reader."""

from collections.abc import Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from django.utils import timezone
from django.utils.dates import WEEKDAYS_ABBR
from django.utils.translation import get_language, gettext, ngettext

from clinic.formats import days, language
from clinic.formats.language import Language

# The type comes from a package of the development set, which no clinic installs.
if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

    Words = StrOrPromise  # a text, perhaps translated only when it is shown
else:
    Words = str

SPOKEN: Final = Language(gettext, ngettext)


def write_day(day: date) -> str:
    """Write a day as 3 Mar 2026, with the months of the reader's language."""
    return _day_in(get_language() or "", day)


# A page writes the same days over and over: a record as full as they come shows a hundred and fifty.
@lru_cache(maxsize=4096)
def _day_in(_code: str, day: date) -> str:
    return days.write_day(day, SPOKEN)


def write_week_day(day: date) -> str:
    """Write a day with its weekday cut short: Tue 24 Nov 2026."""
    name = WEEKDAYS_ABBR[day.weekday()]
    return gettext("%(weekday)s %(day)s") % {"weekday": name, "day": write_day(day)}


def write_moment(at: datetime) -> str:
    """Write a moment in the clinic's zone: Tue 24 Nov 2026, 18:05."""
    local = timezone.localtime(at) if timezone.is_aware(at) else at
    said = {"day": write_week_day(local.date()), "time": f"{local:%H:%M}"}
    return gettext("%(day)s, %(time)s") % said


def write_span(first: date, last: date) -> str:
    """Write two days as 25 Sep to 23 Oct 2026, in the reader's language."""
    return days.write_span(first, last, SPOKEN)


def write_month(day: date, *, year: bool = True) -> str:
    """Write the month of a day as Mar 2026, or Mar alone where the year stands beside it."""
    return days.write_month(day, SPOKEN) if year else SPOKEN.translate(days.MONTHS[day.month - 1])


def alternatives(names: Sequence[str]) -> str:
    """Join names as a choice, in the reader's language: “white, grey or black”."""
    return language.alternatives(names, SPOKEN)
