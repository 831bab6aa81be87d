"""One worker of a run migrates its test database, and the others copy what then stands.

To migrate is nine seconds of a core, and each worker did so for itself. Django still looks whether a copy lacks a
migration and makes its triggers anew. A run without workers migrates as ever.
"""

import fcntl
import shutil
from pathlib import Path
from typing import IO

from django.db import connection


class Copies:
    """What the workers of one run hand on; `shared` is a folder that all of them see, and only they."""

    def __init__(self, shared: Path, workers: int):
        self.workers = workers
        self.template = f"test_{connection.settings_dict['NAME']}_migrated"
        self.migrated = shared / "migrated.sqlite3"
        self.taken = shared / "databases_made"
        self.lock: IO[str] = (shared / "migrating").open("w")

    def begin(self) -> None:
        """Wait till nobody else makes a database, and have ours made from what is there."""
        fcntl.flock(self.lock, fcntl.LOCK_EX)
        if self.made():
            self._copy()

    def end(self) -> None:
        """Leave a copy for the others, or, as the last of them, none; then let the next one begin."""
        made = self.made() + 1
        self.taken.write_text(str(made))
        if made == 1 and self.workers > 1:
            self._leave()
        elif made == self.workers and connection.vendor != "sqlite":
            _drop(self.template)
        self.lock.close()

    def made(self) -> int:
        return int(self.taken.read_text()) if self.taken.exists() else 0

    def _copy(self) -> None:
        if connection.vendor != "sqlite":
            connection.settings_dict["TEST"]["TEMPLATE"] = self.template
            return
        empty = connection.creation._create_test_db

        def filled(*words, **more):
            name = empty(*words, **more)
            shutil.copy(self.migrated, name)
            return name

        connection.creation._create_test_db = filled

    def _leave(self) -> None:
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("VACUUM INTO %s", [str(self.migrated)])
            return
        ours = connection.settings_dict["NAME"]
        connection.close()
        connection.close_pool()
        _drop(self.template)
        with connection._nodb_cursor() as cursor:
            cursor.execute(f'CREATE DATABASE "{self.template}" TEMPLATE "{ours}"')


def _drop(database: str) -> None:
    with connection._nodb_cursor() as cursor:
        cursor.execute(f'DROP DATABASE IF EXISTS "{database}"')
