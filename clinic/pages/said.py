"""Words that many rows of one page share: written once, where a template would do it for each row."""

import html
from collections.abc import Callable, Hashable
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import ngettext

from clinic.addresses import address_of
from clinic.models import Patient
from clinic.wording import Words, write_day, write_moment


class Said:
    """What was said already on this page, by whatever it depends on; made anew with each request, in its language.

    Plain text: it goes into other sentences, and is escaped where it is written down.
    """

    def __init__(self) -> None:
        self._said: dict[Hashable, str] = {}
        self._safe: dict[str, SafeString] = {}

    def once(self, key: Hashable, write: Callable[[], Words]) -> str:
        """Give the words of `key`, writing them where no row has said them yet."""
        if key not in self._said:
            self._said[key] = str(write())
        return self._said[key]

    def escaped(self, row: dict[str, Any]) -> dict[str, Any]:
        """Escape the words of a finished row, the same ones once for all rows; a template would do it for each."""
        return {name: self._escaped(of) if type(of) is str else of for name, of in row.items()}

    def _escaped(self, words: str) -> SafeString:
        if words not in self._safe:
            self._safe[words] = SafeString(html.escape(words))
        return self._safe[words]

    def day(self, day: date | datetime) -> str:
        """Write a day, or the clinic's own day of a moment."""
        of = timezone.localdate(day) if isinstance(day, datetime) else day
        return self.once(of, lambda: write_day(of))

    def more(self, others: int) -> str:
        """Say how many more there are than the first one, which the row shows."""
        if others < 1:
            return ""
        return self.once(
            ("more", others), lambda: ngettext("and one more", "and %(n)s more", others) % {"n": others}
        )

    def moment(self, at: datetime) -> str:
        """Write a moment, which is said to the minute."""
        return self.once(("at", at.replace(second=0, microsecond=0)), lambda: write_moment(at))


def who(patient: Patient, said: Said) -> dict[str, Any]:
    """Give what the head of every row says of a person."""
    return {
        "name": str(patient),
        "record": address_of("clinic:patient", patient.pk),
        "born": said.day(patient.born),
        "number": patient.number,
    }
