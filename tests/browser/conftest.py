"""A real browser, and a real Celery worker behind a real broker, on the suite's own database."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone

from clinic import heartbeat
from clinic.project.celery import app
from clinic.project.start import brokers
from tests.browser.chromium import CHROMIUM, QUIET, ROOT, SCREENS

WORKER = (
    "celery --app clinic.project.celery worker --queues quick,pictures "
    "--pool solo --loglevel INFO --without-mingle --without-gossip"
)


@pytest.fixture(scope="session")
def chromium():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine (Debian: apt install chromium)")
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  0.2 s that only pages in a browser need

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def page(chromium, live_server):
    """A page that fails the test on a script error or on anything the content policy refused."""
    context = chromium.new_context(viewport={"width": 1366, "height": 768}, base_url=live_server.url)
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.complaints = []
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("console", lambda said: page.complaints.append(said.text) if said.type == "error" else None)
    yield page
    context.close()
    assert [words for words in page.complaints if "409" not in words and "422" not in words] == []


@pytest.fixture
def shot(page):
    def take(name: str) -> None:
        SCREENS.mkdir(exist_ok=True)
        page.screenshot(path=SCREENS / f"{name}.png", full_page=True)

    return take


@pytest.fixture
def broker(tmp_path):
    """A Redis or Valkey server of the test's own."""
    found = brokers.servers()
    if not found:
        pytest.skip("neither redis-server nor the server wheel is here")
    port = brokers.any_free_port()
    server = subprocess.Popen(brokers.command(found[0], port, tmp_path), stdout=subprocess.DEVNULL)
    wait_until(lambda: brokers.answers(port), "the broker")
    yield brokers.address(port)
    server.terminate()
    server.wait(10)


@pytest.fixture
def worker(broker, live_server, settings, tmp_path):
    """Rings of this process reach a Celery worker that runs beside it, as they do in a clinic."""
    settings.QUARTERDAY_QUEUE = "celery"
    heartbeat._STARTED = timezone.now()  # no scheduler runs beside this worker
    before = app.conf.broker_url
    ring_through(broker)
    log = (tmp_path / "worker.log").open("wb")
    process = subprocess.Popen(
        [sys.executable, "-m", *WORKER.split()],
        cwd=ROOT,
        env=worker_environment(broker, settings, tmp_path),
        stdout=log,
        stderr=subprocess.STDOUT,
    )
    wait_until(lambda: b"ready." in (tmp_path / "worker.log").read_bytes(), "the worker", process)
    yield process
    process.terminate()
    process.wait(20)
    ring_through(before)


def ring_through(url: str) -> None:
    app.conf.broker_url = url
    app.conf.broker_write_url = app.conf.broker_read_url = url
    app._pool = None
    app.amqp._producer_pool = None


def worker_environment(broker: str, settings, tmp_path: Path) -> dict[str, str]:
    database = {key: value for key, value in connection.settings_dict.items() if key != "TEST"}
    database["NAME"] = str(database["NAME"])
    database["TIME_ZONE"] = None
    if isinstance(database["OPTIONS"].get("pool"), dict):
        database["OPTIONS"] = {**database["OPTIONS"], "pool": False}
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "tests.browser.worker_settings",
        "QUARTERDAY_TEST_DATABASE": json.dumps(database),
        "QUARTERDAY_TEST_PICTURES": str(settings.PRIVATE_FILES),
        "QUARTERDAY_QUEUE": "celery",
        "REDIS_URL": broker,
        "DATA_DIR": str(tmp_path / "worker"),
        "SECRET_KEY": "only-for-tests",
        "ALLOWED_HOSTS": "127.0.0.1",
    }


def wait_until(true, what: str, process: subprocess.Popen | None = None, seconds: float = 30) -> None:
    end = time.monotonic() + seconds
    while not true():
        if process is not None and process.poll() is not None:
            raise AssertionError(f"{what} ended with {process.returncode}")
        if time.monotonic() > end:
            raise AssertionError(f"{what} did not answer in {seconds:.0f} seconds")
        time.sleep(0.1)
