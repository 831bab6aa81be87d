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
from lesions.measuring import measure as assess

Job = tuple[int, datetime]
MEASURED_AFTER = timedelta(seconds=40)


class Hands(Protocol):
    def map(self, work: Callable[[Any], Any], pieces: Iterable[Any]) -> list[Any]: ...


class OwnHands:
    """No process but this one: for tests, whose database the others could not see."""

    def map(self, work: Callable[[Any], Any], pieces: Iterable[Any]) -> list[Any]:
        return [work(piece) for piece in pieces]


class _Crew:
    def __init__(self, pool: Pool) -> None:
        self.pool = pool

    def map(self, work: Callable[[Any], Any], pieces: Iterable[Any]) -> list[Any]:
        return self.pool.map(work, pieces, chunksize=1)


def hired(processes: int) -> AbstractContextManager[Hands]:
    """Hands for the length of a block; none are hired for 0."""
    return _crew(processes) if processes else _own()


@contextmanager
def _own() -> Iterator[Hands]:
    yield OwnHands()


@contextmanager
def _crew(processes: int) -> Iterator[Hands]:
    # Read when a child loads its libraries: two processes of two threads each would stand in each other's way.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    context = multiprocessing.get_context("spawn")
    # Children inherit what is ignored: Ctrl-C is answered by the launcher alone.
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        pool = context.Pool(processes, initializer=django.setup)
    finally:
        signal.signal(signal.SIGINT, before)
    with pool:
        yield _Crew(pool)


def measure(job: Job) -> None:
    """Measure one picture as if soon after it was queued."""
    assessment_id, queued_at = job
    with clock.at(queued_at + MEASURED_AFTER):
        assess.run(assessment_id)
