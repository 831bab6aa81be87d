"""The numbers of the masthead are kept, and shown only while they are what would be counted. Our own rule, no source."""

import threading
from datetime import timedelta

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import clock, tasks
from clinic.duties import ledger
from clinic.models import Duty, Patient, Tally, TallyMark
from clinic.tally import kept_answers, tally, tally_marks, tally_question
from scheduling.models import DeskLine
from scheduling.pages import call_page
from scheduling.today import worklists
from tests import build
from tests.lists import LISTS
from tests.page import read
from tests.scheduling import scene
from tests.test_queries import clinic  # noqa: F401 a fixture

pytestmark = pytest.mark.django_db
SQLITE = settings.DATABASES["default"]["ENGINE"].endswith("sqlite3")


def owe(patient=None):
    patient = patient or build.patient()
    with transaction.atomic():
        return ledger.open_duty("find_a_way", patient=patient, opened_from=patient, by=None)


def shown_is_true():
    """What a page would show is what is counted, whether it was kept or not."""
    found = tally.kept()
    if found.holds:
        assert found.numbers == tally.count()
        for name in kept_answers.ANSWERS:
            assert kept_answers.give(name, found) == kept_answers.work_out(name), name
    return found.holds


@pytest.fixture
def noon(clinic):  # noqa: F811 the fixture
    tally.keep()
    assert tally.kept().holds


# ---- every writer is noticed ---------------------------------------------------------------------


@pytest.mark.parametrize("name", LISTS)
def test_after_each_act_of_a_list_no_old_number_is_kept(name, noon):
    _where, add = LISTS[name]()
    tally.keep()
    assert shown_is_true()
    for _ in range(2):
        add()
        shown_is_true()
        tally.keep()
        assert shown_is_true(), "it is not kept after the act"


def test_a_table_that_marked_nothing_would_be_found_out(noon):
    """Were it only for this: the check of the lives can fail."""
    table = Duty._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(
            f"DROP TRIGGER {tally_marks.name(table, 'INSERT')}" + ("" if SQLITE else f" ON {table}")
        )
    patient = build.patient()
    tally.keep()
    Duty.objects.create(
        kind="find_a_way", patient=patient, opened_from="x:1", due_on=clock.today(), opened_at=clock.now()
    )
    with pytest.raises(AssertionError):
        shown_is_true()
    with pytest.raises(RuntimeError, match="find_a_way"):
        tally.check(clock.today())
    tally.check(clock.today())  # tried again, as a chore that failed is
    assert not tally.kept().holds
    tally_marks.recreate()
    owe()
    assert not tally.kept().holds


def test_the_tables_are_those_that_the_question_names():
    found = tally_marks.tables()
    assert {
        "clinic_duty",
        "clinic_leave",
        "lesions_review",
        "scheduling_recall",
        "scheduling_deskline",
    } <= found
    # What every page writes for itself must not overtake the numbers.
    assert not found & {"clinic_readrecord", "clinic_heartbeat", "clinic_auditrecord", "clinic_tally"}


@pytest.mark.parametrize("verb", ["INSERT", "UPDATE", "DELETE"])
def test_each_counted_table_has_its_trigger(verb):
    names = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal",
    }
    with connection.cursor() as cursor:
        cursor.execute(names[connection.vendor])
        found = {row[0] for row in cursor.fetchall()}
    assert {tally_marks.name(table, verb) for table in tally_marks.tables()} <= found


def test_every_way_to_write_a_row_is_noticed(noon):
    """Also those of which Django sends no signal."""
    patient, row = build.patient(), Patient.objects.values_list("pk", flat=True)
    for write in (
        lambda: DeskLine.objects.bulk_create([_line(patient)], ignore_conflicts=True),
        lambda: DeskLine.objects.filter(patient=patient).update(urgency=5),
        lambda: DeskLine.objects.bulk_create([_line(patient)], **_again),
        lambda: DeskLine.objects.filter(patient__in=row).delete(),
    ):
        tally.keep()
        assert tally.kept().holds
        write()
        assert not tally.kept().holds


_again = {"update_conflicts": True, "unique_fields": ["patient"], "update_fields": ["section"]}


def _line(patient):
    days = dict.fromkeys(("day", "ends_on", "comes_on", "since"), clock.today())
    return DeskLine(patient=patient, section=3, urgency="1", first="", what="", duties=0, **days)


def test_what_was_rolled_back_leaves_the_numbers_kept(noon):
    patient = build.patient()
    tally.keep()
    with transaction.atomic():
        owe(patient)
        assert not tally.kept().holds
        transaction.set_rollback(True)
    assert shown_is_true()


def test_a_migration_keeps_no_number(noon):
    tally_marks.recreate()
    assert not tally.kept().holds and not Tally.objects.exists()


def test_numbers_of_a_version_without_this_list_do_not_hold(noon):
    Tally.objects.update(numbers={name: 0 for name in tally_question.named() if name != "missed"})
    assert not tally.kept().holds and "missed" in tally.standing().numbers


# ---- the clock -------------------------------------------------------------------------------------


def test_kept_numbers_end_at_midnight_and_where_the_clock_is_set_back(noon):
    with scene.later(hours=10):
        assert tally.kept().holds
    with scene.later(hours=12):
        assert not tally.kept().holds
    with scene.later(minutes=-1):
        assert not tally.kept().holds


def test_they_end_where_an_appointment_begins(noon):
    scene.booked(scene.due_check(), starts_at=scene.at(14))
    tally.keep()
    with clock.at(scene.at(13, 59)):
        assert tally.kept().holds and tally.count()["begun"] == 0
    with clock.at(scene.at(14)):
        assert not tally.kept().holds and tally.count()["begun"] == 1


def test_the_question_kept_by_a_process_asks_for_the_day_it_is(noon):
    """It is written once; what it was written with must not be what it asks."""
    scene.overdue_check()  # its window ended on 29 May
    for days, missed in ((0, 1), (-18, 1), (-19, 0), (400, 1)):
        with scene.later(days=days):
            assert tally.count()["missed"] == missed


def test_a_count_that_asks_for_another_day_is_refused(monkeypatch):
    asks = lambda: Duty.objects.filter(due_on__lt=clock.today() - timedelta(days=3))  # noqa: E731
    monkeypatch.setitem(tally_question.COUNTED, "three_days_late", asks)
    with pytest.raises(RuntimeError, match="neither now nor today"):
        tally_question.question.__wrapped__()


@pytest.mark.skipif(
    not SQLITE, reason="PostgreSQL walks through a table of a few rows, whatever index there is"
)
def test_to_count_walks_through_no_table_that_only_grows():
    """SQLite's manual, "EXPLAIN QUERY PLAN": SEARCH reads a part of a table or index, SCAN all of it."""
    asked = tally_question.question()
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {asked.sql}", asked.params())
        plan = [row[3] for row in cursor.fetchall()]
    growing = ("clinic_duty", "clinic_patient", "lesions_review", "lesions_assessment", "scheduling_recall")
    assert [line for line in plan if line.startswith("SCAN") and any(name in line for name in growing)] == []
    assert any("SEARCH lesions_review" in line for line in plan)


# ---- two at once: each in a transaction of its own, as PostgreSQL marks those --------------------------


@pytest.mark.django_db(transaction=True)
def test_what_is_written_while_somebody_counts_is_not_taken_for_counted(noon, monkeypatch):
    counts = tally.count

    def count_slowly():
        found = counts()
        owe()
        return found

    owe()
    monkeypatch.setattr(tally, "count", count_slowly)
    tally.standing()
    monkeypatch.undo()
    assert not tally.kept().holds
    assert tally.standing().numbers == tally.count()


@pytest.mark.django_db(transaction=True)
def test_an_older_count_does_not_replace_a_newer_one(noon, monkeypatch):
    counts = tally.count

    def overtaken():
        found = counts()
        monkeypatch.undo()
        owe()
        tally.keep()
        return found

    owe()
    monkeypatch.setattr(tally, "count", overtaken)
    tally.standing()
    assert shown_is_true()


@pytest.mark.django_db(transaction=True)
def test_many_who_write_and_read_at_once_keep_no_old_number():
    people, said = [build.patient() for _ in range(12)], []

    def one(patient):
        try:
            owe(patient)
            tally.keep()
            said.append(tally.standing().numbers["find_a_way"])
        finally:
            connection.close()

    threads = [threading.Thread(target=one, args=[patient]) for patient in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(said) == 12 and tally.standing().numbers == tally.count()
    assert tally.count()["find_a_way"] == 12
    shown_is_true()


@pytest.mark.skipif(not SQLITE, reason="PostgreSQL has many writers")
@pytest.mark.django_db(transaction=True)
def test_no_page_waits_for_sqlites_one_writer():
    """Whoever reads counts for itself; nothing is kept, and the wait that other writes need is as it was."""
    owe()
    worklists.bring_up_to_date()
    holding, done = threading.Event(), threading.Event()

    def hold():
        with transaction.atomic():
            holding.set()
            done.wait(20)
        connection.close()

    writer = threading.Thread(target=hold)
    writer.start()
    holding.wait(20)
    assert tally.standing().numbers["find_a_way"] == 1 and not tally.kept().holds
    done.set()
    writer.join()
    with connection.cursor() as cursor:
        assert cursor.execute("PRAGMA busy_timeout").fetchone()[0] >= 5000
    assert tally.standing().numbers["find_a_way"] == 1 and tally.kept().holds


# ---- pages -----------------------------------------------------------------------------------------


def in_masthead(answer, place="scheduling:today"):
    return next(row.count for row in answer.context["places"] if row.url == reverse(place))


def counting(asked):
    return [
        one for one in asked.captured_queries if "UNION ALL" in one["sql"] and "lesions_review" in one["sql"]
    ]


def test_after_an_act_of_ones_own_the_page_only_reads_the_number(noon):
    recall, nurse = scene.due_check(), build.nurse()
    worklists.build(clock.today())
    client = build.signed_in(nurse)
    client.post(reverse("scheduling:claim", args=[recall.patient_id]))
    duty = owe()
    client.post(reverse("scheduling:hand_back", args=[recall.patient_id]))
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(reverse("clinic:patients"))
    assert counting(asked) == [] and in_masthead(answer) == tally.count()["people"] > 1
    assert duty.ended_at is None


def test_after_somebody_elses_write_a_page_counts_once_and_keeps_it(noon):
    client = build.signed_in(build.nurse())
    client.get(reverse("clinic:patients"))
    owe()
    asked = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as found:
            answer = client.get(reverse("clinic:patients"))
        asked.append(len(counting(found)))
        assert in_masthead(answer) == 1
    assert asked[0] >= 1 and asked[1] == 0


def test_one_number_stands_in_heading_and_masthead_of_one_page(noon, monkeypatch):
    """Somebody writes in the very moment between the two: the list's own count stands in both."""
    scene.due_check()
    client = build.signed_in(build.nurse())
    monkeypatch.setattr("scheduling.views.today.bring_up_to_date", lambda request: _meanwhile(request))
    answer = client.get(reverse("scheduling:today"))
    assert in_masthead(answer) == answer.context["people"] == DeskLine.objects.exclude(section=8).count() == 2
    assert "two people today" in read(answer).text.lower()


def _meanwhile(request):
    call_page.bring_up_to_date(request)
    owe()
    worklists.bring_up_to_date()


def test_an_act_stands_though_the_lists_cannot_be_counted(noon, monkeypatch, caplog):
    client = build.signed_in(build.nurse())
    recall = scene.due_check()
    monkeypatch.setattr(tally, "BEFORE", [lambda: 1 / 0])
    answer = client.post(reverse("scheduling:claim", args=[recall.patient_id]))
    assert answer.status_code == 302 and "could not be counted" in caplog.text


# ---- the worker ------------------------------------------------------------------------------------


def test_a_worker_keeps_at_once_and_then_only_every_few_seconds(noon, monkeypatch):
    monkeypatch.setattr(tally._Worker, "kept_at", -tally._PAUSE)
    moments = iter([100.0, 100.0, 101.0, 102.5, 102.5])
    monkeypatch.setattr(tally.stopwatch, "monotonic", lambda: next(moments))
    kept = []
    for _ in range(3):
        owe()
        tally.keep_now_and_then()
        kept.append(tally.kept().holds)
    assert kept == [True, False, True]
    assert not TallyMark.objects.exists()


def test_a_round_of_the_worker_and_a_task_leave_the_numbers_kept(noon, monkeypatch):
    someone = build.patient()
    for work in (
        lambda: call_command("work", once=True),
        lambda: tasks.do("replan", [someone.pk]),
        tasks.sweep,
    ):
        monkeypatch.setattr(tally._Worker, "kept_at", -tally._PAUSE)
        owe()
        assert not tally.kept().holds
        work()
        assert shown_is_true()
