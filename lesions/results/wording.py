"""What a report says beside diagnosis and stage, in words."""

from collections.abc import Iterator
from typing import Final

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from lesions.models import Diagnosis

_MARGINS: Final = {
    ("margin_peripheral", "clear"): _("peripheral margin clear"),
    ("margin_peripheral", "involved"): _("peripheral margin involved"),
    ("margin_deep", "clear"): _("deep margin clear"),
    ("margin_deep", "involved"): _("deep margin involved"),
}
_CLEAR_BY: Final = {
    "margin_peripheral": _("peripheral margin clear by %(mm)s mm"),
    "margin_deep": _("deep margin clear by %(mm)s mm"),
}


def report_words(row: Diagnosis) -> list[str]:
    """Write subtype, mitoses, margins and the report's number, each only where it is stated."""
    return list(_said(row))


def _said(row: Diagnosis) -> Iterator[str]:
    if row.subtype:
        yield row.get_subtype_display()
    if row.mitoses:
        yield gettext("mitoses per mm²: %(count)s") % {"count": row.mitoses}
    for margin, clear_by in _CLEAR_BY.items():
        if distance := getattr(row, f"{margin}_mm"):
            yield gettext(clear_by) % {"mm": distance}
        elif words := _MARGINS.get((margin, getattr(row, margin))):
            yield gettext(words)
    if row.report_number:
        yield gettext("report %(number)s") % {"number": row.report_number}
