"""Booked in a call, in a diary kept elsewhere, without a place; cancelled with its reason; not brought.

The clinic's own way: common practice, no source.
"""

from datetime import timedelta

import pytest

from clinic.duties import ledger
from clinic.models import AuditRecord
from scheduling.counting import duty_count, whereabouts
from scheduling.desk import booking, places, taking_back
from scheduling.models import Appointment, BookedCell, PurposeLength, Resource
from scheduling.planning import rebook
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def all_is_held():
    assert duty_count.lost_now() == [] and whereabouts.count_now().holds


def by_call(recall, by):
    room, told = scene.hours(), "due for the check"
    place = {"resource": room, "starts_at": scene.at(14), "revision": recall.revision}
    said = {"route": "phone", "address": "01632 960147", "told": told}
    return booking.book_by_call(recalls=[recall], by=by, **said, **place)


def test_a_booking_by_telephone_writes_its_attempt():
    recall = scene.due_check()
    by_call(recall, build.nurse())
    attempt = recall.attempts.get()
    assert (attempt.outcome, attempt.told, attempt.counts) == ("booked", "due for the check", True)


def test_a_refused_booking_leaves_no_attempt():
    recall = scene.due_check()
    by_call(scene.due_check(), build.nurse())
    with pytest.raises(booking.SlotTaken):
        said = {
            "route": "phone",
            "address": "1",
            "starts_at": scene.at(14),
            "resource": Resource.objects.get(),
        }
        booking.book_by_call(recalls=[recall], by=build.nurse(), revision=recall.revision, **said)
    assert not recall.attempts.exists()


def test_a_booking_taken_back_strikes_the_call_that_says_so():
    recall, by = scene.due_check(), build.nurse()
    visit = by_call(recall, by)
    taking_back.take_back(appointment=visit, by=by, revision=visit.revision)
    recall.refresh_from_db()
    assert recall.state == "due" and recall.attempts.get().struck.by == by
    all_is_held()


def test_a_visit_lasts_as_long_as_its_purposes_together():
    recall = scene.due_check()
    PurposeLength.objects.create(purpose="full_skin_check", minutes=40)
    visit = scene.booked(recall)
    assert visit.minutes == 40 and BookedCell.objects.count() == 8


def test_a_diary_elsewhere_is_typed_in_and_takes_no_place_here():
    recall, moment = scene.due_check(), scene.at(15, 7, scene.TODAY + timedelta(3))
    where = {"where": "Dr Voss, own diary", "minutes": 33, "starts_at": moment}
    visit = booking.book_elsewhere(recalls=[recall], by=build.nurse(), revision=recall.revision, **where)
    recall.refresh_from_db()
    assert (recall.state, str(visit.resource), visit.cells.count()) == ("booked", "Dr Voss, own diary", 0)
    assert places.free(since=scene.TODAY, until=moment.date(), minutes=20, limit=9) == []
    all_is_held()


def test_a_room_of_ours_is_no_diary_elsewhere():
    scene.hours(name="Room 1")
    recall = scene.due_check()
    with pytest.raises(booking.BookingRefused, match="choose one of its free places"):
        when = {"starts_at": scene.at(15), "minutes": 20, "revision": recall.revision}
        booking.book_elsewhere(recalls=[recall], where="Room 1", by=build.nurse(), **when)


def test_whoever_comes_without_a_place_is_entered_and_its_outcome_is_owed():
    recall, by = scene.due_check(), build.nurse()
    visit = booking.walk_in(recalls=[recall], by=by, revision=recall.revision)
    assert visit.starts_at == scene.NOON and str(visit.resource) == "without a place"
    doctor, done = build.dermatologist(), [("full_skin_check", "patient")]
    booking.record_attended(appointment=visit, by=doctor, revision=visit.revision, done=done)
    assert scene.check_of(recall.patient).number == 2
    all_is_held()


def test_who_comes_before_the_day_is_moved_to_now_and_can_be_moved_back():
    recall, by, later = scene.due_check(), build.nurse(), scene.at(14, day=scene.TODAY + timedelta(5))
    visit = scene.booked(recall, later)
    booking.here_already(appointment=visit, by=by, revision=visit.revision)
    assert visit.starts_at == scene.NOON and not BookedCell.objects.exists()
    taking_back.take_back(appointment=visit, by=by, revision=visit.revision)
    assert (visit.starts_at, BookedCell.objects.count()) == (later, 4)


def test_why_it_was_cancelled_stands_in_the_trail():
    visit = scene.booked(scene.due_check())
    said = {"whose": "patient", "why": "on holiday"}
    booking.cancel(appointment=visit, by=build.nurse(), revision=visit.revision, **said)
    visit.refresh_from_db()
    assert visit.cancelled_because == "on holiday"
    assert AuditRecord.objects.get(action="appointment.cancel").details["why"] == "on holiday"


def test_who_was_not_brought_goes_to_a_dermatologist_at_once():
    """“Was not brought” is not “did not attend” (safeguarding of those who depend on others; from memory)."""
    visit, by = scene.booked(scene.due_check()), build.nurse()
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=by, revision=visit.revision, not_brought=True)
        assert ledger.open_duties(visit.patient).filter(kind="decide_what_follows").exists()
        all_is_held()
        taking_back.take_back(appointment=visit, by=by, revision=visit.revision)
        assert not ledger.open_duties(visit.patient).filter(kind="decide_what_follows").exists()
        all_is_held()
    assert not Appointment.objects.get().not_brought


def test_a_walk_in_after_the_last_day_is_owed_only_until_its_outcome():
    recall = scene.overdue_check()
    visit = booking.walk_in(recalls=[recall], by=build.nurse(), revision=recall.revision)
    assert rebook.is_owed(visit)
    doctor, done = build.dermatologist(), [("full_skin_check", "patient")]
    booking.record_attended(appointment=visit, by=doctor, revision=visit.revision, done=done)
    assert not rebook.is_owed(visit)
    all_is_held()
