"""Keep private files under their SHA-256: written whole or not at all, and never written again."""

import hashlib
import os
import re
import tempfile
from pathlib import Path
from typing import BinaryIO

from django.conf import settings

from lesions.pictures.wording import Refused

_DIGEST = re.compile(r"[0-9a-f]{64}")


def path(sha: str) -> Path:
    # A name that comes out of an address must not be able to climb out of the folder.
    if not _DIGEST.fullmatch(sha):
        raise ValueError("not a SHA-256 in hexadecimal digits")
    return Path(settings.PRIVATE_FILES) / sha[:2] / sha[2:4] / sha


def put(data: bytes) -> str:
    """Keep these bytes and return their digest; on the disk before this returns."""
    sha = hashlib.sha256(data).hexdigest()
    target = path(sha)
    if verify(sha):
        return sha
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    # In the same folder, because only within one file system a rename happens whole or not at all.
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=".part-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        # A file of this name that is whole was kept above; a damaged one is made whole here.
        os.replace(temporary, target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    _settle(target.parent)
    return sha


def open_file(sha: str) -> BinaryIO:
    return path(sha).open("rb")


def read(sha: str) -> bytes:
    """Return the kept bytes; raises `Damaged` where they are not what their name says."""
    try:
        data = path(sha).read_bytes()
    except FileNotFoundError:
        raise Damaged("stored_file_missing") from None
    # Asked at each reading: a disk that rots must not change what a decision rests on.
    if hashlib.sha256(data).hexdigest() != sha:
        raise Damaged("stored_file_changed")
    return data


def verify(sha: str) -> bool:
    try:
        read(sha)
    except Damaged:
        return False
    return True


class Damaged(Refused):
    """Raised for a stored file that is not what its name says."""


def _settle(folder: Path) -> None:
    """Write the folders to disk, so that the new name survives a power cut too."""
    for place in (folder, folder.parent, Path(settings.PRIVATE_FILES)):
        handle = os.open(place, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
