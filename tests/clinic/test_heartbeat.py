from datetime import time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic import clock, heartbeat, jobs, tasks
from clinic.models import Heartbeat
from clinic.pages.masthead import standstill_notice
from clinic.project.celery import app
from clinic.project.start import brokers
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db
NOW = timezone.now().replace(hour=12)
KINDS = {"assess": "Measuring of pictures", "replan": "Planning of recalls"}


@pytest.fixture(autouse=True)
def _long_up(monkeypatch):
    """This process came up yesterday: nothing is excused as only just started."""
    monkeypatch.setattr(heartbeat, "_STARTED", NOW - timedelta(days=1))


@pytest.fixture
def queue(settings):
    settings.QUARTERDAY_QUEUE = "celery"
    return settings


def signs(**minutes_ago):
    for name, ago in minutes_ago.items():
        Heartbeat.objects.update_or_create(name=name, defaults={"at": NOW - timedelta(minutes=ago)})


def said():
    with clock.at(NOW):
        return " ".join(standstill_notice(None))


def still():
    with clock.at(NOW):
        return heartbeat.standing_still(list(jobs.activities()))


def health(client, query=""):
    with clock.at(NOW):
        answer = client.get(reverse("health") + query)
    return answer.status_code, answer.json()


LIVE = {"worker": 1, "beat": 1, "assess": 1, "replan": 1}


def test_measuring_and_planning_are_what_staff_would_miss():
    assert jobs.activities() == KINDS


def test_nothing_is_said_while_everything_gets_on(queue, client):
    signs(**LIVE)
    assert said() == "" and health(client) == (200, {"ok": True})


@pytest.mark.parametrize(
    ("silent", "words"),
    [
        ({"worker": 6, "beat": 6}, "worker gives no sign of life"),
        ({"beat": 6}, "scheduler gives no sign of life"),
        ({"assess": 11}, "Measuring of pictures stands still"),
        ({"replan": 11}, "Planning of recalls stands still"),
    ],
)
def test_what_is_silent_too_long_is_said_and_named_to_the_monitor(queue, client, silent, words):
    signs(**LIVE | silent)
    assert words in said()
    assert health(client) == (503, {"ok": False, "standing_still": list(silent)})
    assert health(client, "?web")[0] == 200, "the web process itself is well"


def test_every_page_says_it(queue, client):
    client.force_login(build.member("nurse"), backend="clinic.project.backends.ClinicBackend")
    signs(worker=30, beat=30)
    assert "worker gives no sign of life" in read(client.get(reverse("clinic:patients"))).text


def test_who_was_never_heard_of_stands_still_but_not_at_once(queue, monkeypatch):
    assert still() == ["worker", "beat", *KINDS]
    monkeypatch.setattr(heartbeat, "_STARTED", NOW - timedelta(minutes=1))
    assert still() == []


def test_a_sign_from_a_clock_that_ran_ahead_is_none(queue):
    signs(**LIVE | {"worker": -60})
    assert still() == ["worker"]
    with clock.at(NOW):
        heartbeat.beat("worker")
    assert still() == [], "the next real sign goes over it"


def test_without_a_broker_no_scheduler_is_expected(queue):
    queue.QUARTERDAY_QUEUE = "database"
    signs(worker=1, assess=1, replan=1)
    assert still() == []


def test_a_page_asks_two_questions_for_it(queue):
    signs(**LIVE)
    with CaptureQueriesContext(connection) as asked:
        said()
    assert len(asked) == 2


def test_a_sign_is_written_at_most_once_a_minute():
    for seconds, wrote in ((0, True), (30, False), (59, False), (60, True)):
        with clock.at(NOW + timedelta(seconds=seconds)):
            heartbeat.beat("worker")
        assert (Heartbeat.objects.get().at == NOW + timedelta(seconds=seconds)) is wrote


def test_the_sweep_is_a_sign_of_beat_and_worker_and_of_empty_lists(queue):
    tasks.sweep()
    assert set(Heartbeat.objects.values_list("name", flat=True)) == {"beat", "worker", *KINDS}


def broken(row_id):
    raise ValueError("a broken row")


@pytest.mark.parametrize(("do", "gets_on"), [(broken, False), (lambda row_id: None, True)])
def test_work_that_always_fails_gives_no_sign(monkeypatch, do, gets_on):
    kind = jobs.Work("assess", "pictures", lambda: [1], do, activity="Measuring of pictures")
    monkeypatch.setattr(jobs, "WORK", {"assess": kind})
    jobs.work_once("test")
    assert Heartbeat.objects.filter(name="assess").exists() is gets_on
    assert Heartbeat.objects.filter(name="worker").exists()


def test_a_dead_broker_is_named_to_the_monitor_at_once(queue, client):
    signs(**LIVE)
    before = app.conf.broker_url
    app.conf.broker_url = app.conf.broker_write_url = brokers.address(brokers.any_free_port())
    try:
        assert health(client) == (503, {"ok": False, "standing_still": ["broker"]})
    finally:
        app.conf.broker_url = app.conf.broker_write_url = before


def test_a_daily_task_that_failed_is_said_until_it_has_run(queue, client, monkeypatch):
    signs(**LIVE)
    ran = [broken, lambda day: None]
    monkeypatch.setattr(
        jobs, "CHORES", {"worklist": jobs.Chore("worklist", time(0, 0), lambda day: ran.pop(0)(day))}
    )
    with clock.at(NOW - timedelta(minutes=6)):
        jobs.chores(clock.now())
    assert "A daily task failed and is tried again: worklist." in said()
    assert health(client) == (503, {"ok": False, "standing_still": ["chore worklist"]})
    with clock.at(NOW):
        jobs.chores(NOW)
    assert said() == ""
