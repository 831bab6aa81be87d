import logging
import os
import signal
import socket
import threading
import time
from types import FrameType
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections

from clinic import clock, heartbeat, jobs
from clinic.tally import tally

log = logging.getLogger("quarterday.work")

# Short enough that a picture seems to be measured at once, long enough to leave an idle machine idle.
PAUSE = 0.7
CHORES_EVERY = 60.0


class Command(BaseCommand):
    help = "Do the background work without a broker: take waiting rows from the database, run daily chores."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="do what waits now, then end")

    def handle(self, *args: Any, once: bool, **options: Any) -> None:
        self.worker = f"{socket.gethostname()}:{os.getpid()}"
        if once:
            self.round(with_chores=True)
            return
        stopping = stop_on_signals()
        self.say(f"Worker {self.worker} takes its work from the database.")
        next_chores = 0.0
        while not stopping.is_set():
            due = time.monotonic() >= next_chores
            if due:
                next_chores = time.monotonic() + CHORES_EVERY
            # As for a web request: a connection that the server has closed is opened again.
            close_old_connections()
            stopping.wait(PAUSE if self.safe_round(with_chores=due) == 0 else 0)
        self.say("The worker has ended; what is unfinished waits in the database.")

    def safe_round(self, with_chores: bool) -> int:
        """A round whose failure is logged: a database that restarts must not end the worker."""
        try:
            return self.round(with_chores)
        except Exception:
            log.exception("a round of %s failed; the next one follows", self.worker)
            return 0

    def round(self, with_chores: bool) -> int:
        """Do everything that waits; return how many pieces of work were done."""
        heartbeat.beat("worker")
        if with_chores:
            for name in jobs.chores(clock.now()):
                self.say(f"chore done: {name}")
        done = jobs.work_once(self.worker)
        tally.keep_now_and_then()
        if done:
            self.say(f"work done: {done}")
        return done

    def say(self, words: str) -> None:
        self.stdout.write(f"{clock.now():%Y-%m-%d %H:%M:%S%z} {words}")
        self.stdout.flush()


def stop_on_signals() -> threading.Event:
    """Return an event that SIGTERM and SIGINT set: the work in hand is finished first."""
    stopping = threading.Event()

    def stop(number: int, frame: FrameType | None) -> None:
        stopping.set()

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    return stopping
