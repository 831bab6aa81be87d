"""Read a picture from outside in a process of its own, which may use so much memory and time and no more."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
import threading
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from lesions.analysis.picture import reading
from lesions.analysis.picture.allowance import (
    USUAL,
    Allowance,
    UnreadablePicture,
    estimate_cost,
)
from lesions.analysis.picture.reading import Cleaned, Picture, PictureInfo

# What a worker decodes itself: the usual picture costs far less, and a process of its own half as long again.
_IN_PROCESS = 96 * 1024 * 1024
# A web server's threads take turns, so that many uploads at once need no more memory than two.
_AT_ONCE = threading.BoundedSemaphore(2)
_ROOT = Path(__file__).resolve().parents[3]
# Secrets of the program stay with it: what reads hostile bytes gets only what starting needs.
_PASSED_ON = ("PATH", "LD_LIBRARY_PATH", "LANG", "SYSTEMROOT", "PYTHONDONTWRITEBYTECODE")
log = logging.getLogger("quarterday.pictures")


def clean(data: bytes, *, allowance: Allowance = USUAL) -> Cleaned:
    """As `reading.clean`, in a process of its own.

    Raises
    ------
    UnreadablePicture
        As `reading.clean`, and where the process took more than allowed or died.
    """
    info, jpeg = _answer({"want": "clean"}, data, allowance)
    taken = info.pop("taken_at")
    return Cleaned(PictureInfo(**info, taken_at=taken and datetime.fromisoformat(taken)), jpeg)


def load(data: bytes, *, working_width: int | None, allowance: Allowance = USUAL) -> Picture:
    """As `reading.load`; in a process of its own where decoding would take much memory.

    Raises
    ------
    UnreadablePicture
        As `clean`.
    """
    import numpy as np  # noqa: PLC0415  a web process only cleans, and loads none

    if estimate_cost(data, allowance, side=working_width) <= _IN_PROCESS:
        return reading.load(data, working_width=working_width, allowance=allowance)
    about, pixels = _answer({"want": "load", "working_width": working_width}, data, allowance)
    shape = about.pop("shape")
    return Picture(np.frombuffer(bytearray(pixels), dtype=np.uint8).reshape(shape), **about)


def _answer(question: dict[str, Any], data: bytes, allowance: Allowance) -> tuple[dict[str, Any], bytes]:
    words = json.dumps(question | {"allowance": asdict(allowance)})
    environment = {name: os.environ[name] for name in _PASSED_ON if name in os.environ}
    environment |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "lesions.analysis.picture.reading_process", words]
    with _AT_ONCE:
        try:
            done = subprocess.run(
                command,
                input=data,
                capture_output=True,
                cwd=_ROOT,
                env=environment,
                timeout=allowance.seconds,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise UnreadablePicture("too_long") from None
    return _understood(done)


def _understood(done: subprocess.CompletedProcess[bytes]) -> tuple[dict[str, Any], bytes]:
    """What the process answered; one that died says so by its status."""
    if done.returncode:
        log.warning(
            "reading a picture ended with %s: %s",
            done.returncode,
            done.stderr[-500:].decode(errors="replace"),
        )
        raise UnreadablePicture("too_long" if -done.returncode in _out_of_time() else "broken_off")
    head, _, body = done.stdout.partition(b"\n")
    about: dict[str, Any] = json.loads(head)
    if "refused" in about:
        raise UnreadablePicture(about["refused"], **about["params"])
    return about, body


def _out_of_time() -> tuple[int, ...]:
    return (signal.SIGXCPU,) if hasattr(signal, "SIGXCPU") else ()


def _bind(allowance: Allowance) -> None:
    """Limit this process. Linux alone counts all private memory; elsewhere only the asking side's clock limits."""
    if not sys.platform.startswith("linux"):
        return
    import resource  # noqa: PLC0415  Windows has no such module

    for what, most in (
        (resource.RLIMIT_DATA, allowance.memory),
        (resource.RLIMIT_CPU, allowance.seconds),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        bound = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (bound, bound))


def _cleaned(data: bytes, allowance: Allowance) -> tuple[dict[str, Any], bytes]:
    found = reading.clean(data, allowance=allowance)
    taken = found.info.taken_at
    return asdict(found.info) | {"taken_at": taken and taken.isoformat()}, found.jpeg


def _loaded(data: bytes, allowance: Allowance, working_width: int | None) -> tuple[dict[str, Any], bytes]:
    found = reading.load(data, working_width=working_width, allowance=allowance)
    about = {"zoom": found.zoom, "full_width": found.full_width, "full_height": found.full_height}
    return about | {"shape": found.pixels.shape}, found.pixels.tobytes()


def main(words: str) -> None:
    """The process itself: the question as JSON among its arguments, the picture on stdin, the answer on stdout."""
    question = json.loads(words)
    allowance = Allowance(**question["allowance"])
    _bind(allowance)
    body = b""
    try:
        data = sys.stdin.buffer.read()
        if question["want"] == "clean":
            about, body = _cleaned(data, allowance)
        else:
            about, body = _loaded(data, allowance, question["working_width"])
    except UnreadablePicture as refusal:
        about = {"refused": refusal.message.code, "params": refusal.message.params}
    except MemoryError:
        about = {"refused": "too_dear", "params": {}}
    sys.stdout.buffer.write(json.dumps(about).encode() + b"\n" + body)


if __name__ == "__main__":
    main(sys.argv[1])
