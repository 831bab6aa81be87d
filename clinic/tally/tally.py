"""Count what every list holds, in one question, and keep the numbers: each page shows them in its masthead.

What is kept is shown only while it is what would be counted. Triggers mark every write of what is counted
(`tally_marks.py`); what the clock alone changes has its moment in `TURNS`. So a number that is shown is never old, and
whoever finds the kept ones overtaken counts, and keeps what was counted for the next.
"""

import logging
import secrets
import time as stopwatch
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import DatabaseError, connection, transaction
from django.db.models import Exists
from django.utils import timezone

from clinic import clock
from clinic.models import Tally, TallyMark
from clinic.tally.tally_question import named, question

log = logging.getLogger("quarterday.tally")
# The next moment at which the clock alone changes a count, None where it changes none. Each midnight is one.
TURNS: list[Callable[[], datetime | None]] = []
# What an app brings up to date before its lists are counted.
BEFORE: list[Callable[[], None]] = []
# A worker keeps the numbers no oftener (clinic setting, no source).
_PAUSE = 2.0
_ONLY = 1  # the key of the one row
_REVISIONS = 2**62


@dataclass(frozen=True)
class Kept:
    """The numbers as they are kept, and whether they are what would be counted now.

    `revision` names the state of the database that they were counted in: no later state bears the same.
    """

    numbers: Mapping[str, int]
    revision: int
    holds: bool


def standing() -> Kept:
    """Give the number of every list: as kept where that holds, else counted, and kept for the next page."""
    found = kept()
    if found.holds:
        return found
    for bring_up_to_date in BEFORE:
        bring_up_to_date()
    return _count_and_keep(found)


def kept() -> Kept:
    """Read what is kept and whether anything was written since, in one question."""
    marked = Exists(TallyMark.objects.all())
    row = Tally.objects.filter(pk=_ONLY).annotate(marked=marked).first()
    if row is None:
        return Kept({}, _new_revision(), holds=False)
    in_time = row.counted_at <= clock.now() < row.until
    # A process of the version before may still run, and keeps no number for a list that is new.
    complete = named().keys() <= row.numbers.keys()
    return Kept(row.numbers, row.revision, holds=in_time and complete and not vars(row)["marked"])


def keep() -> None:
    """Count anew where the kept numbers do not hold, after what was written: the next page only reads them."""
    try:
        standing()
    except Exception:
        # What was written is done; without kept numbers the next page counts for itself.
        log.exception("the lists could not be counted after something was written")


class _Worker:
    kept_at = -_PAUSE


def keep_now_and_then() -> None:
    """Keep what a worker changed, every few seconds at most; between them each page counts for itself."""
    if stopwatch.monotonic() - _Worker.kept_at >= _PAUSE:
        _Worker.kept_at = stopwatch.monotonic()
        keep()


def check(_day: date) -> None:
    """Count once a night whatever the marks say; numbers that were kept and are not true are forgotten, and told."""
    found, counted, after = kept(), count(), kept()
    # Where somebody wrote meanwhile the two may differ, and the marks say so.
    if found.holds and after == found and found.numbers != counted:
        Tally.objects.all().delete()
        wrong = sorted(
            name for name in {*counted, *found.numbers} if counted.get(name) != found.numbers.get(name)
        )
        raise RuntimeError(f"the masthead showed old numbers: {', '.join(wrong)}")


def count() -> dict[str, int]:
    """Count every list's rows by kind, in one question for all places of a page."""
    asked = question()
    with connection.cursor() as cursor:
        cursor.execute(asked.sql, asked.params())
        return dict(cursor.fetchall())


def _count_and_keep(found: Kept) -> Kept:
    now = clock.now()
    # Read before the count: what is written while it runs has a mark that is not among these, or one more `times`.
    marks = list(TallyMark.objects.values_list("pk", "times"))
    # At one moment: an appointment that begins between the two would be in neither.
    with clock.at(now):
        counted, until = count(), _until()
    revision, is_kept = _new_revision(), False
    try:
        with _without_waiting(), transaction.atomic():
            is_kept = _write(found, marks, numbers=counted, counted_at=now, until=until, revision=revision)
    except DatabaseError as error:
        # Only for want of time, mostly: whoever comes next counts again.
        log.info("the counts are not kept: %s", type(error).__name__)
    return Kept(counted, revision, holds=is_kept)


def _new_revision() -> int:
    # By chance: were it counted on, a count that was rolled back, or one before a database was restored, could bear the
    # number of another state, and what a process keeps under it would be taken for that one's.
    return secrets.randbelow(_REVISIONS)


def _write(seen: Kept, marks: Sequence[tuple[int, int]], **fields: Any) -> bool:
    """Keep a count unless another was kept since; only then are its marks done with."""
    if not seen.numbers:
        first = Tally(pk=_ONLY, **fields | {"revision": seen.revision})
        Tally.objects.bulk_create([first], ignore_conflicts=True)
    if not Tally.objects.filter(pk=_ONLY, revision=seen.revision).update(**fields):
        return False
    # Exactly those: on SQLite one row with its `times`, on PostgreSQL rows whose `times` is always one.
    pks, times = {pk for pk, _ in marks}, {of for _, of in marks}
    TallyMark.objects.filter(pk__in=pks, times__in=times).delete()
    return True


@contextmanager
def _without_waiting() -> Iterator[None]:
    """Give up at once where SQLite's one writer is another: no page waits only to keep a number."""
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    with connection.cursor() as cursor:
        usual = cursor.execute("PRAGMA busy_timeout").fetchone()[0]
        cursor.execute("PRAGMA busy_timeout = 0")
        try:
            yield
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {usual}")


def _until() -> datetime:
    tomorrow = datetime.combine(clock.today() + timedelta(days=1), time.min)
    return min([timezone.make_aware(tomorrow), *(at for turn in TURNS if (at := turn()))])
