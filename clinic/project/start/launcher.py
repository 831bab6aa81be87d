"""Starting, watching and ending a handful of processes so that none outlives the one who started it."""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

Say = Callable[[str], None]
RESTARTS = 3
PATIENCE = 10.0
LAST_LINES = 15
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class GaveUp(Exception):
    """A process that would not stay up; the message holds its last words."""


def _die_with_parent() -> None:
    # Runs in the child before its program: on Linux even `kill -9` of the launcher ends the children.
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(1, signal.SIGTERM)


@dataclass
class Child:
    """One process in a group of its own, writing to a log file."""

    name: str
    words: list[str]
    log: Path
    env: Mapping[str, str] = field(default_factory=dict)
    restarts: int = 0
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        # Appending, so that the last words before a restart stay readable.
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.words,
                env={**os.environ, **self.env},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                preexec_fn=_die_with_parent,
            )

    def ended(self) -> int | None:
        return self.process.poll() if self.process else None

    def last_lines(self) -> str:
        lines = self.log.read_text(encoding="utf-8", errors="replace").splitlines()
        return "\n".join(f"    {line}" for line in lines[-LAST_LINES:])

    def stop(self) -> None:
        """Ask the process to end, wait, then sweep away whatever is left of its group."""
        if self.process is None:
            return
        if self.process.poll() is None:
            self.process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(PATIENCE)
        self.sweep()
        self.process = None

    def sweep(self) -> None:
        assert self.process is not None
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


@dataclass
class ProcessGroup:
    """The processes of one installation, started in order and ended in the opposite one."""

    say: Say
    children: list[Child] = field(default_factory=list)

    def start(self, child: Child) -> Child:
        child.log.write_bytes(b"")
        # Known before it runs: an interrupt between the two would leave an orphan.
        self.children.append(child)
        child.start()
        return child

    def wait_until(self, ready: Callable[[], bool], child: Child, seconds: float) -> None:
        """Wait for a sign of life; a child that ends or stays silent is given up with its last words."""
        deadline = time.monotonic() + seconds
        while not ready():
            if child.ended() is not None or time.monotonic() > deadline:
                raise GaveUp(f"The {child.name} did not come up ({child.log}):\n{child.last_lines()}")
            time.sleep(0.1)

    def watch(self, pause: float = 0.5) -> None:
        """Run until interrupted. A child that ends is reported and started again, three times in all."""
        while True:
            for child in self.children:
                code = child.ended()
                if code is not None:
                    self.revive(child, code)
            time.sleep(pause)

    def revive(self, child: Child, code: int) -> None:
        if child.restarts >= RESTARTS:
            raise GaveUp(f"The {child.name} ended again (code {code}, {child.log}):\n{child.last_lines()}")
        self.say(f"The {child.name} ended (code {code}); starting it again. Its log: {child.log}")
        child.restarts += 1
        child.sweep()
        child.start()

    def give_up(self, child: Child) -> None:
        """Stop one child and forget it."""
        child.stop()
        self.children.remove(child)

    def stop(self) -> None:
        # Last started, first ended: the worker goes before the broker that it would complain about.
        while self.children:
            self.children[-1].stop()
            self.children.pop()


@contextlib.contextmanager
def ended_by_signals() -> Iterator[None]:
    """Turn the ends that a terminal or a service manager sends into one KeyboardInterrupt."""

    def interrupt(number: int, frame: FrameType | None) -> None:
        # From here on the end is under way; a second Ctrl-C must not cut it short.
        for name in SIGNALS:
            signal.signal(name, signal.SIG_IGN)
        raise KeyboardInterrupt

    before = {name: signal.signal(name, interrupt) for name in SIGNALS}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(name, handler)
