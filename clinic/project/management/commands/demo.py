import fcntl
import secrets
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connections

from clinic import clock
from clinic.project.demo import data_folder
from clinic.project.start import brokers
from clinic.project.start.launcher import Child, GaveUp, ProcessGroup, ended_by_signals

FIRST_PORT = 8000
WSGI = "clinic.project.wsgi:application"
# What Celery and `manage.py work` log once they take work.
WORKER_READY = (" ready.", "takes its work from the database")
NO_BROKER = (
    "No redis-server and no server wheel was found: a plain worker takes the work from the database.\n"
    "Everything works; a picture is measured a second later than with a broker."
)


class Command(BaseCommand):
    help = "Build the demo clinic and run all of it on this machine until Ctrl-C."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--rebuild", action="store_true", help="make the demo anew, with new passwords")
        parser.add_argument("--port", type=int, default=FIRST_PORT, help="first port to try (8000)")

    def handle(self, *args: Any, rebuild: bool, port: int, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("Start the demo with: python3 manage.py demo")
        with ended_by_signals():
            try:
                self.run(rebuild, port)
            except KeyboardInterrupt:
                self.say("\nEverything has ended. The data stays; start again with: python3 manage.py demo")

    def say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()

    def run(self, rebuild: bool, port: int) -> None:
        folder: Path = settings.DATA_DIR
        held = self.lock(folder)
        group = ProcessGroup(self.say)
        try:
            built = self.prepared(folder, rebuild)
            self.open(group, folder, port, built)
            group.watch()
        except GaveUp as error:
            group.stop()
            raise CommandError(str(error)) from error
        finally:
            group.stop()
            held.close()

    def lock(self, folder: Path) -> IO[str]:
        """Hold the data folder for this launcher alone: two brokers on one file would spoil it."""
        held = (folder / "lock").open("a")
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            held.close()
            raise CommandError(f"The demo is already running on {folder}.") from error
        return held

    def prepared(self, folder: Path, rebuild: bool) -> data_folder.Built:
        try:
            built = data_folder.prepare(folder, build_clinic, self.say, rebuild)
        except data_folder.NotOurs as error:
            raise CommandError(str(error), returncode=2) from error
        data_folder.collect_static(folder)
        # The children open the database for themselves; a connection held here would only be in the way.
        connections.close_all()
        return built

    def open(self, group: ProcessGroup, folder: Path, port: int, built: data_folder.Built) -> None:
        # A new key with each start: sessions of yesterday's demo, whose passwords may have changed, end with it.
        env = {"SECRET_KEY": secrets.token_urlsafe(50), **start_broker(group, folder)}
        if env["QUARTERDAY_QUEUE"] == "database":
            self.say(NO_BROKER)
        worker = start_worker(group, folder, env)
        chosen, taken = brokers.first_free_port(port)
        for number in taken:
            self.say(f"Port {number} is taken; trying the next one.")
        page = start_web(group, folder, env, chosen)
        group.wait_until(lambda: any(sign in worker.log.read_text() for sign in WORKER_READY), worker, 60)
        self.greet(page, built)

    def greet(self, page: str, built: data_folder.Built) -> None:
        today = clock.today()
        age = f", {age_in_words(built.on, today)}" if built.on != today else ""
        self.say(f"\nQuarterday's demo clinic is open at {page}  (this machine only{age})\n")
        shown = one_of_each_role(built.logins)
        role = max((len(row.role) for row in shown), default=0)
        name = max((len(row.username) for row in shown), default=0)
        for row in shown:
            self.say(f"  {row.role:{role}}  {row.username:{name}}  {row.password}   {row.name}")
        if len(shown) < len(built.logins):
            self.say(f"  {len(built.logins) - len(shown)} more stand in {settings.DATA_DIR / 'logins.json'}")
        self.say("\nAll people and pictures are invented. Ctrl-C ends everything.")


def build_clinic(progress: Callable[[str], None]) -> Iterable[data_folder.Login]:
    """Build the demo clinic; a start that finds one built does without the libraries that draw its pictures."""
    from clinic.project.demo import building  # noqa: PLC0415  loads numpy and scipy

    return building.build(progress)


def one_of_each_role(logins: list[data_folder.Login]) -> list[data_folder.Login]:
    """Return the first log-in of each role, in their own order."""
    return list({row.role: row for row in reversed(logins)}.values())[::-1]


def age_in_words(built: date, today: date) -> str:
    return f"built {(today - built).days} days ago; --rebuild makes its lists of today"


def start_broker(group: ProcessGroup, folder: Path) -> dict[str, str]:
    """Start the first server that comes up and say how to reach it, or that there is none."""
    data = folder / "broker"
    data.mkdir(exist_ok=True, mode=0o700)
    # A server that is installed may still not start here; then the next one is tried, and at last none.
    for server in brokers.servers():
        port = brokers.any_free_port()
        child = group.start(Child("broker", brokers.command(server, port, data), folder / "broker.log"))
        try:
            group.wait_until(lambda port=port: brokers.answers(port), child, 10)  # type: ignore[misc]  # untyped: a lambda
        except GaveUp as error:
            group.say(str(error))
            group.give_up(child)
        else:
            return {"QUARTERDAY_QUEUE": "celery", "QUARTERDAY_BROKER_URL": brokers.address(port)}
    return {"QUARTERDAY_QUEUE": "database"}


def start_worker(group: ProcessGroup, folder: Path, env: dict[str, str]) -> Child:
    """Start Celery with its beat inside, or where no broker is up the worker that reads the database."""
    if env["QUARTERDAY_QUEUE"] == "database":
        words = [sys.executable, str(settings.BASE_DIR / "manage.py"), "work"]
    else:
        words = [
            *(sys.executable, "-m", "celery", "--workdir", str(settings.BASE_DIR)),
            *("-A", "clinic.project.celery", "worker", "--beat", "--queues", "quick,pictures"),
            *("--concurrency", "2", "--loglevel", "INFO", "--without-gossip", "--without-mingle"),
        ]
    return group.start(Child("worker", words, folder / "worker.log", env))


def start_web(group: ProcessGroup, folder: Path, env: dict[str, str], port: int) -> str:
    """Start the web server, wait for its first page and return the page's address."""
    words = [
        *(sys.executable, "-m", "gunicorn", WSGI, "--chdir", str(settings.BASE_DIR), "--no-control-socket"),
        *("--worker-class", "gthread", "--workers", "2", "--threads", "4"),
        *("--bind", f"{brokers.LOCAL}:{port}"),
    ]
    child = group.start(Child("web server", words, folder / "web.log", env))
    page = f"http://{brokers.LOCAL}:{port}/"
    group.wait_until(lambda: opens(page), child, 60)
    return page


def opens(page: str) -> bool:
    """Say whether a page can be read; a proxy set for other hosts is not asked."""
    direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with direct.open(page, timeout=5) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False
