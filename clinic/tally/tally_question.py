"""The one question of the masthead: how many rows every list holds, written once for each process.

To write it costs as much as to ask it. What it asks of the clock, now and today, it is given anew each time.
"""

import functools
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db import connection
from django.db.models import Count, QuerySet, Value
from django.utils import timezone

from clinic import clock
from clinic.duties import ledger
from clinic.duties.kinds import OwningList

# What a list holds besides the ledger's duties, so that the masthead counts it as well: name → rows.
HELD: dict[OwningList, dict[str, Callable[[], QuerySet[Any]]]] = {owner: {} for owner in OwningList}
# Further counts of the masthead by name, asked in the same question.
COUNTED: dict[str, Callable[[], QuerySet[Any]]] = {}


def named() -> dict[str, Callable[[], QuerySet[Any]]]:
    """Give everything that has a number besides the duties of the ledger, which are counted by their kinds."""
    return {name: rows for names in (*HELD.values(), COUNTED) for name, rows in names.items()}


@dataclass(frozen=True)
class Question:
    """Its parameters name now and today by a moment that stands for them."""

    sql: str
    given: tuple[Any, ...]

    def params(self) -> list[Any]:
        stands_for = dict(zip(_as_asked(_STAND_IN), _as_asked(clock.now()), strict=True))
        # Only what can be a moment is looked up: SQLite is asked for it as text.
        return [stands_for.get(one, one) if isinstance(one, (str, date)) else one for one in self.given]


# No clinic was open then, and no row bears this moment.
_STAND_IN = datetime(1907, 3, 5, 9, 41, 7, 19, tzinfo=UTC)
_ANOTHER = datetime(1908, 5, 7, 8, 31, 11, 23, tzinfo=UTC)


@functools.cache
def question() -> Question:
    """Write it, and refuse a count that asks for another moment than now or another day than today."""
    first, second = _written_at(_STAND_IN), _written_at(_ANOTHER)
    with clock.at(_ANOTHER):
        if list(second.given) != first.params():
            raise RuntimeError("a count of the masthead asks for a moment that is neither now nor today")
    return first


def _written_at(moment: datetime) -> Question:
    with clock.at(moment):
        held = (_counted(name, rows()) for name, rows in named().items())
        sql, given = ledger.counts().union(*held, all=True).query.sql_with_params()
        return Question(sql, tuple(given))


def _counted(name: str, rows: QuerySet[Any]) -> QuerySet[Any, tuple[str, int]]:
    # Joins and order cost, and a question made of many allows neither.
    plain = rows.select_related(None).order_by().annotate(counted=Value(name))
    counted: QuerySet[Any, tuple[str, int]] = plain.values_list("counted").annotate(Count("pk"))
    return counted


def _as_asked(moment: datetime) -> tuple[Any, Any]:
    """Write a moment and its day as this database is asked for them."""
    day = timezone.localdate(moment)
    return (
        connection.ops.adapt_datetimefield_value(moment),
        connection.ops.adapt_datefield_value(day),
    )
