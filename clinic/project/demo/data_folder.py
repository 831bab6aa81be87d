"""Keep the demo's data folder: whose database it is, when it was built, and which log-ins it has."""

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from django.db import connection

from clinic import clock

# Written into the database file itself, so that the mark goes where the file goes.
MADE_BY_DEMO = 0x51444D4F
KEPT_ON_REBUILD = frozenset({"lock", "static", "static-stamp"})


class NotOurs(Exception):
    """A database with patients that the demo did not make."""


@dataclass(frozen=True)
class Login:
    """One log-in of the demo; the password is new with each build and is kept in a file of its owner's alone."""

    role: str
    username: str
    password: str
    name: str


@dataclass(frozen=True)
class Built:
    """What is known of a finished build."""

    on: date
    logins: list[Login]


def made_here() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA application_id")
        return bool(cursor.fetchone()[0] == MADE_BY_DEMO)


def mark() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA application_id = {MADE_BY_DEMO}")


def refuse_strangers() -> None:
    """Raise NotOurs where the database holds patients and the demo did not make it."""
    if made_here() or "clinic_patient" not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM clinic_patient LIMIT 1")
        if cursor.fetchone():
            file = connection.settings_dict["NAME"]
            raise NotOurs(f"{file} holds patients that the demo did not make; nothing was touched.")


def read_built(folder: Path) -> Built | None:
    """Return the finished build kept in this folder, or None: an interrupted build leaves no such file."""
    try:
        kept = json.loads((folder / "logins.json").read_text(encoding="utf-8"))
        return Built(date.fromisoformat(kept["built"]), [Login(**row) for row in kept["logins"]])
    except (FileNotFoundError, ValueError, KeyError, TypeError):
        return None


def keep_built(folder: Path, built: Built) -> None:
    """Write the log-ins for the owner's eyes only, whole or not at all."""
    part = folder / "logins.json.part"
    # Left by an interrupted build; the file is made anew with its rights, and never opened with those of another.
    part.unlink(missing_ok=True)
    words = {"built": built.on.isoformat(), "logins": [asdict(row) for row in built.logins]}
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
        json.dump(words, file, indent=1)
    part.replace(folder / "logins.json")


def empty(folder: Path) -> None:
    """Clear the demo's folder for a new build. Call `refuse_strangers` first."""
    # SQLite goes on writing into a file that was taken away, as long as it is open.
    connection.close()
    (folder / "logins.json").unlink(missing_ok=True)
    for path in folder.iterdir():
        if path.name in KEPT_ON_REBUILD:
            continue
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()


def prepare(
    folder: Path,
    build: Callable[..., Iterable[Login]],
    say: Callable[[str], None],
    rebuild: bool = False,
) -> Built:
    """Return the demo kept in this folder, or build it anew where there is none or `rebuild` asks for it."""
    # Before anything is emptied: a wrong DATA_DIR must never cost a clinic its patients.
    refuse_strangers()
    built = None if rebuild else read_built(folder)
    if built is None:
        empty(folder)
    call_command("migrate", verbosity=0, interactive=False)
    if built is None:
        mark()
        say("Building the demo clinic; this takes a minute or two ...")
        built = Built(clock.today(), list(build(progress=say)))
        keep_built(folder, built)
    return built


def collect_static(folder: Path) -> None:
    """Collect the static files, unless they are the very ones collected last time."""
    stamp, now = folder / "static-stamp", _static_state()
    if stamp.exists() and stamp.read_text(encoding="ascii") == now:
        return
    call_command("collectstatic", verbosity=0, interactive=False, clear=True)
    stamp.write_text(now, encoding="ascii")


def _static_state() -> str:
    rows = []
    for finder in get_finders():
        for path, storage in finder.list([]):
            found = os.stat(storage.path(path))
            # Size and time, not contents: reading every file would take as long as collecting them.
            rows.append(f"{path} {found.st_size} {found.st_mtime_ns}")
    return hashlib.sha256("\n".join(sorted(rows)).encode()).hexdigest()
