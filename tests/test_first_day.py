"""A clinic that is not the demo: first administrator, sign-in, idle sign-out, the worker without a broker."""

import io
import os
import signal
import sys
import threading
import time
from datetime import timedelta

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import transaction
from django.utils import timezone

from clinic import jobs
from clinic.models import AuditRecord, Member, Role
from clinic.project.backends import ClinicBackend
from clinic.project.celery import app
from clinic.project.management.commands import work
from clinic.project.start import brokers
from lesions.models import JobState
from tests.lesions import scene

GOOD = "seven-lamps-on-a-quay"


def first_admin(monkeypatch, username="robin", password=GOOD):
    monkeypatch.setattr(sys, "stdin", io.StringIO(password + "\n"))
    call_command("first_admin", username, name="Robin Example", stdout=io.StringIO())


# ---- first administrator -------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_first_administrator_can_sign_in_and_the_trail_knows(monkeypatch, client):
    first_admin(monkeypatch)
    member = Member.objects.get()
    assert (member.username, member.name, member.role) == ("robin", "Robin Example", Role.ADMINISTRATOR)
    assert list(AuditRecord.objects.values_list("action", "by")) == [("staff.add", None)]
    answer = client.post("/login/", {"username": "robin", "password": GOOD})
    assert (answer.status_code, client.session["_auth_user_id"]) == (302, str(member.pk))


@pytest.mark.django_db
def test_there_is_only_one_first_administrator(monkeypatch):
    first_admin(monkeypatch)
    with pytest.raises(CommandError, match="There is an administrator already"):
        first_admin(monkeypatch, username="second")
    assert Member.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    "username, password, why",
    [
        ("robin", "short-one", "at least 12"),
        ("robin", "123456789012345", "numeric"),
        ("robin", "robinexample1", "similar"),
        ("not a name", GOOD, "valid username"),
    ],
)
def test_a_word_that_will_not_do_is_said_and_nothing_is_made(monkeypatch, username, password, why):
    with pytest.raises(CommandError, match=why):
        first_admin(monkeypatch, username, password)
    assert not Member.objects.exists()


# ---- sign-in -------------------------------------------------------------------------------------


@pytest.fixture
def member(db):
    member = Member(username="nora", name="Nora Example", role=Role.ADMINISTRATOR)
    member.set_password(GOOD)
    member.save()
    return member


@pytest.mark.parametrize("demo_house, demo_login, welcome", [(True, True, True), (False, True, False)])
def test_a_demo_log_in_is_refused_outside_the_demo(settings, member, rf, demo_house, demo_login, welcome):
    settings.DEMO = demo_house
    Member.objects.update(is_demo=demo_login)
    backend = ClinicBackend()
    found = backend.authenticate(rf.get("/"), username="nora", password=GOOD)
    assert (found == member) is welcome
    assert (backend.get_user(member.pk) == member) is welcome


def test_guessing_a_password_is_stopped(client, member, settings):
    for _ in range(settings.AXES_FAILURE_LIMIT):
        client.post("/login/", {"username": "nora", "password": "wrong"})
    answer = client.post("/login/", {"username": "nora", "password": GOOD})
    assert answer.status_code == 429
    assert "_auth_user_id" not in client.session


def is_signed_out(client, **headers):
    return client.get("/", headers=headers).headers["Location"].startswith("/login/")


def sign_in(client, member):
    client.force_login(member)
    client.get("/")


def test_an_idle_session_ends(client, member):
    with time_machine.travel(timezone.now(), tick=False) as clock:
        sign_in(client, member)
        clock.shift(timedelta(minutes=31))
        assert is_signed_out(client)


def test_work_keeps_a_session_open(client, member):
    with time_machine.travel(timezone.now(), tick=False) as clock:
        sign_in(client, member)
        for _ in range(3):
            clock.shift(timedelta(minutes=20))
            assert not is_signed_out(client)


def test_a_page_that_asks_by_itself_keeps_nothing_open(client, member):
    with time_machine.travel(timezone.now(), tick=False) as clock:
        sign_in(client, member)
        clock.shift(timedelta(minutes=20))
        assert (
            not client.get("/", headers={"X-Quarterday-Poll": "1"}).headers["Location"].startswith("/login")
        )
        clock.shift(timedelta(minutes=20))
        assert is_signed_out(client)


def test_a_session_is_written_once_a_minute_at_most(client, member, django_assert_num_queries):
    with time_machine.travel(timezone.now(), tick=False):
        sign_in(client, member)
        with django_assert_num_queries(2):  # session, member: nothing is written
            client.get("/")


# ---- the worker without a broker -----------------------------------------------------------------


@pytest.fixture
def rows(monkeypatch):
    """Three rows of a kind of work of our own, and one daily chore."""
    left, chores = [1, 2, 3], []
    kind = jobs.Work("stand-in", "quick", waiting=lambda: list(left), do=left.remove)
    monkeypatch.setattr(jobs, "WORK", {"stand-in": kind})
    monkeypatch.setattr(jobs, "chores", lambda now: [chores.append(now)] and ["count"])
    return left, chores


@pytest.mark.django_db
def test_once_does_what_waits_and_ends(rows):
    said = io.StringIO()
    call_command("work", once=True, stdout=said)
    assert rows[0] == [] and len(rows[1]) == 1
    assert "work done: 3" in said.getvalue() and "chore done: count" in said.getvalue()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_worker_ends_cleanly_and_survives_a_failing_round(rows, monkeypatch, number):
    left, chores = rows
    real, failures = jobs.work_once, [RuntimeError("the database restarts")]

    def once(worker):
        if failures:
            raise failures.pop()
        return real(worker)

    monkeypatch.setattr(jobs, "work_once", once)
    monkeypatch.setattr(work, "PAUSE", 0.01)
    before = {name: signal.getsignal(name) for name in (signal.SIGTERM, signal.SIGINT)}
    threading.Timer(0.5, os.kill, (os.getpid(), number)).start()
    said = io.StringIO()
    try:
        call_command("work", stdout=said)
    finally:
        for name, handler in before.items():
            signal.signal(name, handler)
    assert left == [] and len(chores) == 1
    assert said.getvalue().rstrip().endswith("what is unfinished waits in the database.")


@pytest.mark.django_db(transaction=True)
def test_a_picture_is_measured_without_any_broker(settings):
    settings.QUARTERDAY_QUEUE = "database"
    picture = scene.file(scene.lesion())
    assert picture.assessments.get().state == JobState.QUEUED
    call_command("work", once=True, stdout=io.StringIO())
    assert picture.assessments.get().state == JobState.DONE


# ---- a broker that is down -----------------------------------------------------------------------


@pytest.fixture
def silent_broker(settings):
    """Celery's own application, told of a port where nothing listens."""

    def ring_at(url):
        app.conf.broker_url = app.conf.broker_write_url = url
        app._pool = app.amqp._producer_pool = None

    settings.QUARTERDAY_QUEUE = "celery"
    before = app.conf.broker_url
    ring_at(brokers.address(brokers.any_free_port()))
    yield
    ring_at(before)


@pytest.mark.django_db(transaction=True)
def test_a_broker_that_is_down_neither_breaks_a_page_nor_holds_it_up(silent_broker, caplog):
    # With kombu's own options each ring waits 6.0 s (measured); with ours 0.2 s once, then nothing.
    began = time.monotonic()
    with transaction.atomic():
        jobs.request_work("assess", 1)
        jobs.request_work("assess", 2)
    assert time.monotonic() - began < 5
    assert [record.name for record in caplog.records] == ["django.db.backends.base"] * 2


@pytest.mark.django_db
def test_ended_sessions_are_cleared_every_day():
    now = timezone.now()
    for number, end in enumerate([now - timedelta(minutes=1), now + timedelta(minutes=1)]):
        Session.objects.create(session_key=str(number), session_data="", expire_date=end)
    jobs.CHORES["ended sessions"].do(now.date())
    assert list(Session.objects.values_list("session_key", flat=True)) == ["1"]
