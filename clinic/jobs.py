"""Background work as the database knows it: what waits, and who does it. A message in the queue only says: look now.

An app registers its kinds of work and its daily chores. Celery tasks (clinic/tasks.py) and the worker
without a broker (`manage.py work`) call the same functions.
"""

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from celery import current_app
from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from clinic import clock, heartbeat
from clinic.models import ChoreRun
from clinic.wording import Words

log = logging.getLogger("quarterday.jobs")
# Rows done together: enough that shared questions pay, few enough that one bad row holds up few others.
PORTION = 100
# The name of the task in clinic/tasks.py that does work; messages carry names, never functions.
TASK = "clinic.tasks.do"
# A chore that has not ended by then is taken for one whose worker died.
LEASE = timedelta(minutes=30)
PAUSE_AFTER_FAILURE = timedelta(minutes=5)


@dataclass(frozen=True)
class Work:
    """`waiting` lists ids of unfinished rows, a batch at a time; `do` is idempotent, and quiet if the row is gone.

    `do_many`, where rows together cost less than one by one, does as many as `PORTION`. `activity` is what staff
    miss when it stands still; without one nobody is told.
    """

    name: str
    queue: str
    waiting: Callable[[], Iterable[int]]
    do: Callable[[int], object]
    do_many: Callable[[Sequence[int]], object] | None = None
    activity: Words = ""

    def portions(self) -> Iterator[list[int]]:
        waiting, size = list(self.waiting()), PORTION if self.do_many else 1
        # An empty list is a sign of life too, or a quiet night would look like a dead worker.
        if not waiting:
            self.gets_on()
        return (waiting[start : start + size] for start in range(0, len(waiting), size))

    def run(self, row_ids: Sequence[int]) -> None:
        if self.do_many and len(row_ids) > 1:
            self.do_many(row_ids)
        else:
            for row_id in row_ids:
                self.do(row_id)
        self.gets_on()

    def gets_on(self) -> None:
        if self.activity:
            heartbeat.beat(self.name)


@dataclass(frozen=True)
class Chore:
    """Runs once for each local date, at or after `due` in the clinic's zone; a failed one until it has run.

    `also_late`: one that did not run yesterday is run for yesterday's date until today's is due.
    """

    name: str
    due: time
    do: Callable[[date], object]
    also_late: bool = False

    def day_at(self, local: datetime) -> date | None:
        if local.time() >= self.due:
            return local.date()
        return local.date() - timedelta(days=1) if self.also_late else None


WORK: dict[str, Work] = {}
CHORES: dict[str, Chore] = {}


def register_work(work: Work) -> None:
    WORK[work.name] = work


def register_chore(chore: Chore) -> None:
    CHORES[chore.name] = chore


def request_work(name: str, row_id: int) -> None:
    """Ask for a piece of work after commit; if the broker is down, the page still works and the sweep finds the row."""
    # After commit, or a quick worker would look for a row that is not there yet.
    transaction.on_commit(lambda: _publish(name, [row_id]), robust=True)


def _publish(name: str, row_ids: list[int]) -> None:
    # Without a broker `manage.py work` reads the database by itself; in tests nothing is sent.
    if settings.QUARTERDAY_QUEUE != "celery":
        return
    # By name: tasks stand above this module. A message that expires costs nothing: the row still waits, and the
    # sweep asks again.
    current_app.send_task(TASK, args=[name, row_ids], queue=WORK[name].queue, expires=60, retry=False)


def publish_waiting(now: datetime) -> int:
    """Ask again for every row that still waits (the sweep); returns how many."""
    asked = 0
    for work in WORK.values():
        for row_ids in work.portions():
            _publish(work.name, row_ids)
            asked += len(row_ids)
    return asked


def work_once(worker: str) -> int:
    """Do every waiting row here and now; for the worker without a broker. Returns how many were done."""
    done = 0
    for work in WORK.values():
        for row_ids in work.portions():
            try:
                work.run(row_ids)
            except Exception:
                # One bad row must not stop the others; it waits on and is tried in the next round.
                log.exception("%s: %s %s failed and stay in the list", worker, work.name, row_ids)
            else:
                done += len(row_ids)
            heartbeat.beat("worker")
    return done


def activities() -> dict[str, Words]:
    """Name the kinds of work that staff would miss, in the words of the page."""
    return {work.name: work.activity for work in WORK.values() if work.activity}


def failing_chores() -> list[str]:
    """Name today's chores that failed and have not run since."""
    if settings.QUARTERDAY_QUEUE == "none":
        return []
    failed = ChoreRun.objects.filter(day=clock.today(), finished_at=None).exclude(failure="")
    return list(failed.order_by("name").values_list("name", flat=True))


def chores(now: datetime) -> list[str]:
    """Run the chores that are due and have not run; returns their names. One that fails stops no other."""
    local = timezone.localtime(now)
    ran = []
    for chore in CHORES.values():
        day = chore.day_at(local)
        attempt = _claim(chore, day, now) if day else None
        if day and attempt and _ran(chore, day, attempt):
            ran.append(chore.name)
    return ran


def _claim(chore: Chore, day: date, now: datetime) -> int | None:
    """The number of the attempt, or None. One conditional update is the lock: of two workers only one gets it.

    What is dated after now was written by a clock that ran ahead; it neither ends nor holds anything.
    """
    run = ChoreRun.objects.filter(name=chore.name, day=day)
    if not run.exists():
        ChoreRun.objects.get_or_create(
            name=chore.name, day=day, defaults={"started_at": now, "not_before": now}
        )
    unfinished = Q(finished_at=None) | Q(finished_at__gt=now)
    # A lease that ends later than any lease can was set by a clock that ran ahead: it must not hold the chore for
    # years.
    free = Q(not_before__lte=now) | Q(not_before__gt=now + LEASE)
    fields = {"started_at": now, "not_before": now + LEASE, "finished_at": None}
    if not run.filter(unfinished & free).update(attempts=F("attempts") + 1, **fields):
        return None
    return run.values_list("attempts", flat=True).get()


def _ran(chore: Chore, day: date, attempt: int) -> bool:
    """The number of the attempt guards the row: who was taken for dead writes nothing more into it."""
    mine = ChoreRun.objects.filter(name=chore.name, day=day, attempts=attempt)
    try:
        chore.do(day)
    except Exception as error:
        log.exception("chore %s of %s failed and is tried again", chore.name, day)
        # Only the kind of error: its words may name a patient.
        mine.update(failure=type(error).__name__[:80], not_before=clock.now() + PAUSE_AFTER_FAILURE)
        return False
    mine.update(finished_at=clock.now(), failure="")
    return True
