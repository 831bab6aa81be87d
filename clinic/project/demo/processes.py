"""Two processes beside this one for the slow work: drawing pictures and measuring them."""

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime, timedelta
from multiprocessing.pool import Pool
from typing import Any, Protocol

import django

from clinic import clock
from lesions.measuring import measure as measuring

Job = tuple[int, datetime]
MEASURED_AFTER = timedelta(seconds=40)  # invented: as long as a small clinic's worker might take


class Workers(Protocol):
    def map(self, work: Callable[[Any], Any], pieces: Iterable[Any]) -> list[Any]: ...


class ThisProcess:
    """No process but this one: for tests, whose database the others could not see."""

    def map(self, work: Callable[[Any], Any], pieces: Iterable[Any]) -> list[Any]:
        return [work(piece) for piece in pieces]


class _ProcessPool:
    def __init__(self, pool: Pool) -> None:
        self.pool = pool

    def map(self, work: Callable[[Any], Any], pieces: Iterable[Any]) -> list[Any]:
        return self.pool.map(work, pieces, chunksize=1)


def start_workers(processes: int) -> AbstractContextManager[Workers]:
    """Start processes for the length of a block; for 0 the work is done in this one."""
    return _in_processes(processes) if processes else _in_this_process()


@contextmanager
def _in_this_process() -> Iterator[Workers]:
    yield ThisProcess()


@contextmanager
def _in_processes(processes: int) -> Iterator[Workers]:
    # Read when a child loads its libraries: two processes of two threads each would stand in each other's way.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    # Started afresh and not forked: a forked child would share this process's open database.
    context = multiprocessing.get_context("spawn")
    # Children inherit what is ignored: Ctrl-C is answered by the launcher alone.
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        pool = context.Pool(processes, initializer=django.setup)
    finally:
        signal.signal(signal.SIGINT, before)
    with pool:
        yield _ProcessPool(pool)


def measure(job: Job) -> None:
    """Measure one picture as if soon after it was queued."""
    assessment_id, queued_at = job
    with clock.at(queued_at + MEASURED_AFTER):
        measuring.measure_picture(assessment_id)
