from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from clinic import jobs, tasks
from clinic.models import ChoreRun
from clinic.project.celery import app

pytestmark = pytest.mark.django_db


@pytest.fixture
def chore(monkeypatch, settings):
    settings.TIME_ZONE = "Europe/Dublin"
    ran = []
    monkeypatch.setattr(jobs, "CHORES", {"count": jobs.Chore("count", time(6, 0), ran.append)})
    return ran


def local(*parts):
    return datetime(*parts, tzinfo=ZoneInfo("Europe/Dublin"))


def test_a_chore_runs_once_for_each_local_date(chore):
    assert jobs.chores(local(2026, 3, 3, 5, 59)) == []
    assert jobs.chores(local(2026, 3, 3, 6, 0)) == ["count"]
    assert jobs.chores(local(2026, 3, 3, 6, 1)) == []
    assert jobs.chores(local(2026, 3, 4, 9, 0)) == ["count"]
    assert chore == [date(2026, 3, 3), date(2026, 3, 4)]
    assert ChoreRun.objects.filter(finished_at__isnull=False).count() == 2


def test_the_day_is_the_local_one_when_the_utc_date_differs(chore, settings):
    settings.TIME_ZONE = "Australia/Sydney"

    with timezone.override("Australia/Sydney"):
        jobs.chores(datetime(2026, 1, 9, 22, 0, tzinfo=UTC))
    assert chore == [date(2026, 1, 10)]


def test_a_repeated_hour_does_not_repeat_the_chore(chore):
    first = datetime(2026, 10, 25, 6, 30, tzinfo=UTC)
    jobs.chores(first)
    jobs.chores(first)
    assert len(chore) == 1


def test_one_failing_row_does_not_stop_the_others(monkeypatch):
    done = []

    def do(row_id):
        if row_id == 1:
            raise ValueError("this row is broken")
        done.append(row_id)

    monkeypatch.setattr(jobs, "WORK", {"w": jobs.Work("w", "quick", lambda: [1, 2, 3], do)})
    assert jobs.work_once("test") == 2
    assert done == [2, 3]


def test_what_is_asked_for_arrives_at_the_task_by_its_name(settings, django_capture_on_commit_callbacks):
    """Messages are sent by the task's name: a name that no task bears would be lost without a word."""
    settings.QUARTERDAY_QUEUE = "celery"
    with django_capture_on_commit_callbacks(execute=True):
        jobs.request_work("replan", 7)
    with app.connection_for_read() as connection:
        message = connection.SimpleQueue(jobs.WORK["replan"].queue).get(timeout=5)
        message.ack()
    assert app.tasks[message.headers["task"]].name == tasks.do.name
    assert message.payload[:2] == [["replan", [7]], {}]
