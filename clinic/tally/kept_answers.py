"""Keep in this process what a list works out over all its rows: their order, or why each of them is there.

A page shows fifty rows of thousands, and most pages are asked for while nothing has changed. So an answer is kept under
the revision of the masthead's numbers (`tally.py`): the triggers that overtake those mark every table that an answer
reads as well, and with the next numbers comes another revision. What is kept is therefore never old, and each process
works an answer out once for each revision that it meets. It is written in nobody's language, and asks no clock but the
day: whatever else the clock changes is left to the page.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection, models
from django.db.models import QuerySet

from clinic.tally.tally import Kept

Columns = Sequence[Sequence[Any]]


def columns_of(rows: QuerySet[Any, Any]) -> Columns:
    """Read all rows of a `values_list` column by column; as plain values, which cost no conversion of each."""
    sql, params = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        width = len(cursor.description)
        return tuple(zip(*cursor.fetchall(), strict=True)) or ((),) * width


@dataclass(frozen=True)
class KeptAnswer:
    """`rows`: what is asked for; `work_out`: makes the answer of it; `besides`: what is read before it is asked."""

    rows: Callable[[], QuerySet[Any, Any]]
    work_out: Callable[[QuerySet[Any, Any]], Any] = columns_of
    besides: tuple[type[models.Model], ...] = ()


# By name; an app adds its own when it is loaded.
ANSWERS: dict[str, KeptAnswer] = {}
_KEPT: dict[str, tuple[int, Any]] = {}


def give(name: str, numbers: Kept) -> Any:
    """Give an answer as it is kept beside these numbers, else worked out, and kept; nobody changes what is given."""
    revision, found = _KEPT.get(name, (-1, None))
    if numbers.holds and revision == numbers.revision:
        return found
    # After the numbers were read: what is written between the two is marked, and they hold no more.
    worked_out = work_out(name)
    if numbers.holds:
        _KEPT[name] = numbers.revision, worked_out
    return worked_out


def work_out(name: str) -> Any:
    asked = ANSWERS[name]
    return asked.work_out(asked.rows())


def questions() -> list[str]:
    return [answer.rows().query.sql_with_params()[0] for answer in ANSWERS.values()]


def read_besides() -> Iterator[type[models.Model]]:
    for answer in ANSWERS.values():
        yield from answer.besides
