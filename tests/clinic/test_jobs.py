from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from clinic import clock, jobs, tasks
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


class Flaky:
    """A chore that fails as often as it is told to."""

    def __init__(self, failures):
        self.failures, self.days = failures, []

    def __call__(self, day):
        if self.failures:
            self.failures -= 1
            raise ValueError("Ada Example has no plan")
        self.days.append(day)


def flaky(monkeypatch, failures, **options):
    do = Flaky(failures)
    monkeypatch.setattr(jobs, "CHORES", {"count": jobs.Chore("count", time(6, 0), do, **options)})
    return do


def chores_at(moment):
    with clock.at(moment):
        return jobs.chores(moment)


SIX = local(2026, 3, 3, 6, 0)


def minutes(number):
    return SIX + timedelta(minutes=number)


def test_a_chore_that_failed_is_tried_until_it_has_run(chore, monkeypatch):
    do = flaky(monkeypatch, failures=2)
    assert [chores_at(minutes(number)) for number in (0, 1, 5, 6, 10, 11)] == [[], [], [], [], ["count"], []]
    run = ChoreRun.objects.get()
    assert (run.attempts, run.failure, do.days) == (3, "", [date(2026, 3, 3)])


def test_what_failed_is_kept_without_words_that_may_name_somebody(chore, monkeypatch):
    flaky(monkeypatch, failures=1)
    chores_at(SIX)
    run = ChoreRun.objects.get()
    assert (run.failure, run.attempts, run.finished_at) == ("ValueError", 1, None)


def test_a_chore_that_fails_stops_no_other(chore, monkeypatch):
    flaky(monkeypatch, failures=1)
    jobs.CHORES["list"] = jobs.Chore("list", time(6, 0), chore.append)
    assert chores_at(SIX) == ["list"]


def test_a_run_whose_worker_died_is_taken_over_once(chore):
    ChoreRun.objects.create(
        name="count", day=SIX.date(), started_at=SIX, not_before=SIX + jobs.LEASE, attempts=1
    )
    assert chores_at(minutes(29)) == []
    assert (chores_at(minutes(30)), chores_at(minutes(31))) == (["count"], [])


def test_two_workers_do_not_run_a_chore_at_once(chore, monkeypatch):
    second = []
    monkeypatch.setitem(
        jobs.CHORES,
        "count",
        jobs.Chore("count", time(6, 0), lambda day: second.append(chores_at(minutes(1)))),
    )
    assert (chores_at(SIX), second) == (["count"], [[]])


def test_who_was_taken_for_dead_ends_nothing(chore, monkeypatch):
    def slow(day):
        ChoreRun.objects.update(attempts=2)  # another worker took it over meanwhile

    monkeypatch.setitem(jobs.CHORES, "count", jobs.Chore("count", time(6, 0), slow))
    chores_at(SIX)
    assert ChoreRun.objects.get().finished_at is None


def test_yesterdays_count_is_made_late_and_only_where_it_makes_sense(chore, monkeypatch):
    before_six = local(2026, 3, 4, 2, 0)
    do = flaky(monkeypatch, failures=0)
    assert (chores_at(before_six), do.days) == ([], [])
    do = flaky(monkeypatch, failures=0, also_late=True)
    assert (chores_at(before_six), chores_at(before_six), do.days) == (["count"], [], [date(2026, 3, 3)])
    assert chores_at(local(2026, 3, 4, 6, 0)) == ["count"]


@pytest.mark.parametrize("finished", [True, False])
def test_a_clock_that_ran_ahead_does_not_stop_the_real_day(chore, monkeypatch, finished):
    ahead = local(2026, 3, 9, 14, 0)
    do = flaky(monkeypatch, failures=0 if finished else 1)
    chores_at(ahead)
    assert chores_at(SIX) == ["count"], "the real today"
    assert chores_at(local(2026, 3, 9, 6, 0)) == ["count"], "the day that the clock had claimed"
    assert do.days[-2:] == [date(2026, 3, 3), date(2026, 3, 9)]


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
