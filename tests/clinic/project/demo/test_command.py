"""The demo's data folder: whose database it is, which log-ins it has, and when it is built anew."""

import json
import stat
from datetime import date

import pytest

from clinic.project.demo import data_folder
from clinic.project.management.commands import demo
from tests import build


@pytest.fixture
def folder(tmp_path):
    """An empty data folder; other fixtures may put theirs beside it."""
    (tmp_path / "demo").mkdir()
    return tmp_path / "demo"


# ---- what is printed and kept --------------------------------------------------------------------

PASS = data_folder.Login("nurse", "nora", "a-long-password", "Nora Example")


def test_log_ins_are_kept_for_the_next_start_and_for_the_owner_only(folder):
    built = data_folder.Built(date(2026, 3, 2), [PASS])
    data_folder.keep_built(folder, built)
    data_folder.keep_built(folder, built)
    assert data_folder.read_built(folder) == built
    assert stat.S_IMODE((folder / "logins.json").stat().st_mode) == 0o600
    assert [path.name for path in folder.iterdir()] == ["logins.json"]


@pytest.mark.parametrize("text", ["", "{}", json.dumps({"built": "2026-13-01", "logins": []}), "[]"])
def test_spoilt_log_ins_mean_a_new_build(folder, text):
    (folder / "logins.json").write_text(text)
    assert data_folder.read_built(folder) is None


def test_a_new_build_clears_all_but_the_lock_and_the_static_files(folder, monkeypatch):
    monkeypatch.setattr(data_folder.connection, "close", lambda: None)
    (folder / "pictures").mkdir()
    (folder / "pictures" / "ab12").write_bytes(b"x")
    for name in ("quarterday.sqlite3", "quarterday.sqlite3-wal", "logins.json", "lock", "static-stamp"):
        (folder / name).write_text("x")
    data_folder.empty(folder)
    assert sorted(path.name for path in folder.iterdir()) == ["lock", "static-stamp"]


def test_the_age_of_an_old_build_is_said():
    assert "built 3 days ago" in demo.age_in_words(date(2026, 3, 1), date(2026, 3, 4))


# ---- whose database it is ------------------------------------------------------------------------

sqlite_only = pytest.mark.skipif(data_folder.connection.vendor != "sqlite", reason="the demo runs on SQLite")


@sqlite_only
@pytest.mark.django_db
def test_patients_that_the_demo_did_not_make_are_not_touched(folder):
    data_folder.refuse_strangers()
    build.patient()
    (folder / "keep").write_text("x")
    with pytest.raises(data_folder.NotOurs, match="did not make; nothing was touched"):
        data_folder.prepare(folder, None, print, rebuild=True)
    assert (folder / "keep").exists()
    data_folder.mark()
    data_folder.refuse_strangers()


@sqlite_only
@pytest.mark.django_db
def test_a_second_start_builds_nothing_and_a_rebuild_makes_new_passwords(folder, monkeypatch):
    monkeypatch.setattr(data_folder, "empty", lambda folder: None)
    builds = []

    def make(progress):
        builds.append(progress)
        return [data_folder.Login("nurse", "nora", f"password {len(builds)}", "Nora Example")]

    first = data_folder.prepare(folder, make, print)
    assert data_folder.prepare(folder, make, print) == first
    assert data_folder.made_here()
    again = data_folder.prepare(folder, make, print, rebuild=True)
    assert [row.password for row in first.logins + again.logins] == ["password 1", "password 2"]


@sqlite_only
@pytest.mark.django_db
def test_an_interrupted_build_is_begun_again(folder, monkeypatch):
    monkeypatch.setattr(data_folder, "empty", lambda folder: None)

    def interrupted(progress):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        data_folder.prepare(folder, interrupted, print)
    assert data_folder.read_built(folder) is None
    assert data_folder.prepare(folder, lambda progress: [PASS], print).logins == [PASS]


def test_static_files_are_collected_only_when_they_changed(folder, monkeypatch):
    calls = []
    monkeypatch.setattr(data_folder, "call_command", lambda *words, **more: calls.append(words))
    data_folder.collect_static(folder)
    data_folder.collect_static(folder)
    assert calls == [("collectstatic",)]
    monkeypatch.setattr(data_folder, "_static_state", lambda: "changed")
    data_folder.collect_static(folder)
    assert len(calls) == 2


def test_one_log_in_of_each_role_is_printed_and_the_first_is_taken():
    rows = [data_folder.Login(*words) for words in ["nnaX", "dbpY", "ncpZ", "depQ"]]
    assert demo.one_of_each_role(rows) == rows[:2]
