"""Private files: the digest is the name; whole or not there; never overwritten."""

import os

import pytest

from lesions.pictures import storage


def test_the_digest_is_the_name_and_the_folders():
    sha = storage.put(b"picture")
    assert storage.path(sha).parts[-3:] == (sha[:2], sha[2:4], sha)
    assert storage.read(sha) == b"picture" and storage.open_file(sha).read() == b"picture"


def test_a_kept_file_is_not_written_again():
    sha = storage.put(b"picture")
    before = os.stat(storage.path(sha))
    assert storage.put(b"picture") == sha
    after = os.stat(storage.path(sha))
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def test_what_breaks_off_leaves_nothing_behind(monkeypatch, settings):
    def full(_):
        raise OSError("no space left")

    monkeypatch.setattr(storage.os, "fsync", full)
    with pytest.raises(OSError, match="space"):
        storage.put(b"picture")
    assert not [path for path in settings.PRIVATE_FILES.rglob("*") if path.is_file()]


def test_a_damaged_or_missing_file_is_known_and_mended_by_the_same_bytes():
    sha = storage.put(b"picture")
    storage.path(sha).write_bytes(b"rotten")
    assert not storage.verify(sha)
    storage.put(b"picture")
    assert storage.verify(sha)
    storage.path(sha).unlink()
    with pytest.raises(storage.Damaged):
        storage.read(sha)


@pytest.mark.parametrize("name", ["../../etc/passwd", "", "A" * 64, "0" * 63])
def test_no_path_but_a_digest(name):
    with pytest.raises(ValueError, match="SHA-256"):
        storage.path(name)


def test_only_the_clinic_reads_it():
    sha = storage.put(b"picture")
    assert os.stat(storage.path(sha)).st_mode & 0o077 == 0
