"""Background work as the database knows it: what waits, and who does it. A message in the queue only says: look now.

An app registers its kinds of work and its daily chores. Celery tasks (clinic/tasks.py) and the worker
without a broker (`manage.py work`) call the same functions.
"""

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from celery import current_app
from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic import clock
from clinic.models import ChoreRun

log = logging.getLogger("quarterday.jobs")
PORTION = 100
# The name of the task in clinic/tasks.py that does work; messages carry names, never functions.
TASK = "clinic.tasks.do"


@dataclass(frozen=True)
class Work:
    """`waiting` lists ids of unfinished rows, a batch at a time; `do` is idempotent, and quiet if the row is gone.

    `do_many`, where rows together cost less than one by one, does as many as `PORTION`.
    """

    name: str
    queue: str
    waiting: Callable[[], Iterable[int]]
    do: Callable[[int], object]
    do_many: Callable[[Sequence[int]], object] | None = None

    def portions(self) -> Iterator[list[int]]:
        waiting, size = list(self.waiting()), PORTION if self.do_many else 1
        return (waiting[start : start + size] for start in range(0, len(waiting), size))

    def run(self, row_ids: Sequence[int]) -> None:
        if self.do_many and len(row_ids) > 1:
            self.do_many(row_ids)
        else:
            for row_id in row_ids:
                self.do(row_id)


@dataclass(frozen=True)
class Chore:
    """Runs once for each local date, at or after `due` in the clinic's zone."""

    name: str
    due: time
    do: Callable[[date], object]


WORK: dict[str, Work] = {}
CHORES: dict[str, Chore] = {}


def register_work(work: Work) -> None:
    WORK[work.name] = work


def register_chore(chore: Chore) -> None:
    CHORES[chore.name] = chore


def request_work(name: str, row_id: int) -> None:
    """Ask for work after commit; a broker that is down never breaks the page, the sweep finds the row."""
    transaction.on_commit(lambda: _publish(name, [row_id]), robust=True)


def _publish(name: str, row_ids: list[int]) -> None:
    if settings.QUARTERDAY_QUEUE != "celery":
        return
    # By name: tasks stand above this module. A message that expires costs nothing: the row still waits, and the
    # sweep asks again.
    current_app.send_task(TASK, args=[name, row_ids], queue=WORK[name].queue, expires=60, retry=False)


def publish_waiting(now: datetime) -> int:
    """Ask again for every row that still waits; returns how many."""
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
                log.exception("%s: %s %s failed and stay in the list", worker, work.name, row_ids)
            else:
                done += len(row_ids)
    return done


def chores(now: datetime) -> list[str]:
    """Run the chores of this local day that are due and have not run; returns their names."""
    local = timezone.localtime(now)
    ran = []
    for chore in CHORES.values():
        if local.time() >= chore.due and _start(chore, local.date(), now):
            chore.do(local.date())
            ChoreRun.objects.filter(name=chore.name, day=local.date()).update(finished_at=clock.now())
            ran.append(chore.name)
    return ran


def _start(chore: Chore, day: date, now: datetime) -> bool:
    """The unique row is the lock: of two workers only one gets it."""
    try:
        with transaction.atomic():
            ChoreRun.objects.create(name=chore.name, day=day, started_at=now)
    except IntegrityError:
        return False
    return True
