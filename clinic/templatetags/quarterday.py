"""Write days, moments, measures and counts in words nobody can misread."""

import math
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.dates import WEEKDAYS
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from clinic import addresses, clock
from clinic.charts import columns, phases
from clinic.charts import year_strip as strip
from clinic.duties import wording as duty_words
from clinic.models import Patient, Proposal
from clinic.wording import SPOKEN, write_day, write_moment, write_month, write_week_day

register = template.Library()

# Units that are whole things, as one and as many.
COUNTED: dict[str, Callable[[int], str]] = {
    "axes": lambda number: ngettext("axis", "axes", number),
    "colours": lambda number: ngettext("colour", "colours", number),
    "eighths": lambda number: ngettext("eighth", "eighths", number),
}
NUMBERS = (
    _lazy("no"), _lazy("one"), _lazy("two"), _lazy("three"), _lazy("four"), _lazy("five"), _lazy("six"),
    _lazy("seven"), _lazy("eight"), _lazy("nine"), _lazy("ten"), _lazy("eleven"), _lazy("twelve"),
)  # fmt: skip


def _local_day(value: date | datetime) -> date:
    if isinstance(value, datetime):
        return timezone.localdate(value) if timezone.is_aware(value) else value.date()
    return value


@register.filter
def address_of(key: int, page: str) -> str:
    """`{{ patient.pk|address_of:'clinic:patient' }}`: as `url`, for pages named by one key, in lists of many rows."""
    return addresses.address_of(page, key)


@register.filter
def day(value: date | datetime | None) -> str:
    """Write a day: 6 Mar 2026."""
    if not value:
        return ""
    return write_day(_local_day(value))


@register.filter
def month(value: date) -> str:
    """Write a month: Mar 2026."""
    return write_month(value)


@register.filter
def long_day(value: date | datetime | None) -> str:
    """Write a day with its weekday: Wednesday, 25 Nov 2026."""
    if not value:
        return ""
    name = WEEKDAYS[_local_day(value).weekday()]
    return _("%(weekday)s, %(day)s") % {"weekday": name, "day": day(value)}


@register.filter
def week_day(value: date | datetime | None) -> str:
    """Write a day with its weekday cut short: Tue 24 Nov 2026."""
    if not value:
        return ""
    return write_week_day(_local_day(value))


@register.filter
def moment(value: datetime | None) -> str:
    """Write a moment in the clinic's zone: Tue 24 Nov 2026, 18:05."""
    if not value:
        return ""
    return write_moment(value)


@register.filter
def age(patient: Patient) -> int:
    """Count the years completed today, in the clinic's zone."""
    return patient.age_on(clock.today())


@register.filter
def answer_words(proposal: Proposal) -> str:
    """`{{ proposal|answer_words }}` → what was answered, in whoever's words it was"""
    return duty_words.say_answer(proposal)


@register.filter
def mm(measure: Any, uncertainty: float | None = None) -> str:
    """Write a measure (value, unit, uncertainty) or a bare number of millimetres: 5.9 mm ± 0.1.

    Rounded to the first digit in doubt; without a scale there are no millimetres, and it says so.
    """
    value = getattr(measure, "value", measure)
    if value in (None, ""):
        return _("no scale")
    unit = getattr(measure, "unit", "mm")
    doubt = getattr(measure, "uncertainty", uncertainty)
    if unit in COUNTED:
        return f"{value:,.0f} {of_count(unit, value)}".replace("-", "−")
    digits = _digits(doubt)
    words = f"{value:,.{digits}f} {unit}".replace("-", "−").strip()
    return f"{words} ± {doubt:.{digits}f}" if doubt else words


@register.filter
def of_count(unit: str, value: float | None) -> str:
    """Write the unit of a figure as its number asks: 1 colour, 2 colours."""
    # The number itself and not one or many: some languages have three forms. A fraction takes that of two.
    several = 2 if value is None else abs(value)
    return COUNTED[unit](round(several) if several == round(several) else 2) if unit in COUNTED else unit


def _digits(doubt: float | None) -> int:
    # More figures than the doubt allows would claim a change that nobody measured.
    return min(max(-math.floor(math.log10(doubt)), 0), 3) if doubt else 1


@register.filter
def in_words(count: int) -> str:
    """`7|in_words` → seven; figures above twelve, "no" for none: the count in a {% blocktranslate count %}."""
    return str(NUMBERS[count]) if 0 <= count <= 12 else f"{count:,}"


@register.simple_tag
def year_strip(
    drawn: strip.Strip, width: int = 250, height: int | None = None, title: str = "", desc: str = ""
) -> SafeString:
    """Draw the strip as SVG: 250 px in a list, 960 beside a side column, 1280 across the page."""
    return _scrolling(
        strip.render(drawn, width=width, height=height, title=title, desc=desc, language=SPOKEN),
        width,
        _("Year strip"),
    )


@register.simple_tag(takes_context=True)
def page_address(context: dict[str, Any], page: Any, number: int) -> str:
    """Give the address of another page of one list; whatever else the address says, stays."""
    # Several lists stand on one page: turning one of them must leave the others where they are.
    query = context["request"].GET.copy()
    query[page.paginator.name] = str(number)
    return f"?{query.urlencode()}"


@register.simple_tag
def phase_line(marks: list[phases.PhaseMark], width: int = 820) -> SafeString:
    """Draw the time line of a rule's phases."""
    return _scrolling(phases.render(marks, width, SPOKEN), width, _("Time line"))


@register.simple_tag
def column_chart(chart: columns.Chart, width: int = 820) -> SafeString:
    """Draw counts over time, in the grammar of the year strip."""
    svg = columns.render(chart.columns, chart.meaning, width=width, title=chart.title, language=SPOKEN)
    return _scrolling(svg, width, chart.title)


def _scrolling(svg: str, width: int, name: str) -> SafeString:
    """Put what is wider than a phone into a box that scrolls; every word in `svg` was escaped by its writer."""
    if width < strip.WIDE:
        return mark_safe(svg)
    return mark_safe(f'<div class="strip-wide" role="group" tabindex="0" aria-label="{name}">{svg}</div>')
