import re
from datetime import date

from django import template

from clinic.wording import write_day

register = template.Library()
_ISO_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


@register.filter
def plain_days(text: str) -> str:
    """Write the days of a core's text as people read them: 2026-03-06 becomes 6 Mar 2026."""
    return _ISO_DAY.sub(lambda found: write_day(date.fromisoformat(found[0])), text)
