"""Read the lines of Today that a page shows, in the order in which they are worked through."""

import functools
from collections.abc import Mapping
from datetime import date, datetime
from operator import attrgetter
from typing import Any, NamedTuple

from django.core.paginator import Page
from django.db.models import Q, QuerySet

from clinic.people import finding
from scheduling.desk import parts_of_day
from scheduling.models import DeskLine, Section


class ShownLine(NamedTuple):
    """What Today shows of one line, as plain values: more than a hundred stand on a page."""

    pk: int
    patient_id: int | None
    section: int
    urgency: str
    part: str
    ends_on: date
    comes_on: date
    first: str
    duties: int
    tried: int
    language: str
    given_name: str
    family_name: str
    born: date
    number: str
    held_by: int | None
    holder: str
    holder_signs_in_as: str
    held_since: datetime | None
    shares_name: bool


_ASKED = (
    *(
        "pk",
        "patient_id",
        "section",
        "urgency",
        "part",
        "ends_on",
        "comes_on",
        "first",
        "duties",
        "tried",
        "language",
    ),
    *(f"patient__{name}" for name in ("given_name", "family_name", "born", "number", "claim__by")),
    *(f"patient__claim__{name}" for name in ("by__name", "by__username", "touched_at")),
    "shares_name",
)


def in_order(lines: QuerySet[DeskLine], section: int) -> QuerySet[DeskLine]:
    """Put the lines of a section in their order: as they are rung now, later ones by the day they come up."""
    return lines.filter(section=section).order_by(*_order_of(section))


def _order_of(section: int) -> tuple[str, ...]:
    return ("comes_on", "pk") if section == Section.LATER else parts_of_day.in_turn()


def shown(pages: Mapping[Section, "Page[Any]"]) -> dict[Section, list[ShownLine]]:
    """Read what the pages of all sections show, in its order: one question, in which each is cut by its index."""
    cut = (Q(pk__in=page.object_list.values("pk")) for page in pages.values())  # type: ignore[attr-defined]
    rows = DeskLine.objects.filter(functools.reduce(Q.__or__, cut, Q(pk__in=()))).order_by()
    rows = rows.annotate(shares_name=finding.shares_name("patient__"))
    found: dict[Section, list[ShownLine]] = {section: [] for section in pages}
    for line in map(ShownLine._make, rows.values_list(*_ASKED)):
        found[Section(line.section)].append(line)
    for section, lines in found.items():
        _sort(lines, _order_of(section))
    return found


def _sort(lines: list[ShownLine], order: tuple[str, ...]) -> None:
    """Sort what a page shows as the database would: by the last name first, since to sort keeps what is alike."""
    for name in reversed(order):
        lines.sort(key=attrgetter(name.removeprefix("-")), reverse=name.startswith("-"))
