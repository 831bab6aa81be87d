"""Slots, double booking, and a missed visit: docs/domain.md "Recalls do not close themselves", docs/interfaces.md "Double booking"."""

from datetime import date, time, timedelta

import pytest

from clinic.access import NotAllowed
from clinic.models import StaleRow
from clinic.people import ending
from scheduling.desk import bookable, booking
from scheduling.models import Appointment, BookedCell, ClosureDay
from scheduling.planning import replan
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def test_the_whole_way_of_a_missed_visit_keeps_the_original_dates():
    recall = scene.due_check()
    window = (recall.earliest, recall.target, recall.latest)
    visit = scene.booked(recall)
    recall.refresh_from_db()
    assert recall.state == "booked"
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=build.nurse(), revision=visit.revision)
        replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    assert (recall.state, recall.reopened) == ("due", 1)
    assert (recall.earliest, recall.target, recall.latest) == window
    assert visit.cells.count() == 4, "past cells stay: the room was taken"
    assert scene.to_reach() == [recall]


def test_two_bookings_never_share_five_minutes():
    room = scene.hours()
    first, second = scene.due_check(), scene.due_check()
    booking.book(recalls=[first], resource=room, starts_at=scene.at(14), by=build.nurse())
    with pytest.raises(booking.SlotTaken):
        booking.book(recalls=[second], resource=room, starts_at=scene.at(14, 15), by=build.nurse())
    assert Appointment.objects.count() == 1
    booking.book(recalls=[second], resource=room, starts_at=scene.at(14, 20), by=build.nurse())


@pytest.mark.parametrize("whose", ["patient", "clinic"])
def test_a_cancelled_visit_frees_the_room_and_opens_the_recall(whose):
    recall = scene.due_check()
    visit = scene.booked(recall)
    booking.cancel(appointment=visit, by=build.nurse(), revision=visit.revision, whose=whose)
    recall.refresh_from_db()
    assert (visit.state, recall.state) == (f"cancelled_by_{whose}", "due")
    assert not BookedCell.objects.exists()


def test_what_was_done_completes_and_what_was_not_opens_again():
    recall = scene.due_check()
    visit = scene.booked(recall)
    with scene.later(hours=4):
        booking.record_attended(
            appointment=visit,
            by=build.nurse(),
            revision=visit.revision,
            done=[("risk_assessment", "patient")],
        )
        recall.refresh_from_db()
        assert recall.state == "due"
    visit = booking.book(
        recalls=[recall],
        resource=visit.resource,
        starts_at=scene.at(15),
        by=build.nurse(),
        revision=recall.revision,
    )
    with scene.later(hours=5):
        done = [("full_skin_check", "patient")]
        booking.record_attended(
            appointment=visit, by=build.dermatologist(), revision=visit.revision, done=done
        )
        assert scene.check_of(recall.patient).number == 2
    recall.refresh_from_db()
    assert recall.state == "completed"


def test_an_outcome_is_entered_once():
    visit = scene.booked(scene.due_check())
    seen = visit.revision
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=build.nurse(), revision=seen)
        with pytest.raises(StaleRow):
            booking.record_missed(appointment=visit, by=build.nurse(), revision=seen)


def test_a_visit_of_a_patient_whose_care_ended_leaves_nothing_open():
    recall = scene.due_check()
    visit, patient = scene.booked(recall), recall.patient
    ending.end_care(
        patient=patient,
        by=build.dermatologist(),
        revision=1,
        status="deceased",
        on=scene.TODAY,
        ground="family",
    )
    replan.replan_patient(patient.pk)
    visit.refresh_from_db()
    recall.refresh_from_db()
    assert (visit.state, BookedCell.objects.exists()) == ("cancelled_by_clinic", False)
    assert (recall.state, recall.ground) == ("closed", "deceased")


def test_nothing_is_booked_when_care_has_ended():
    recall = scene.due_check()
    ending.end_care(
        patient=recall.patient,
        by=build.dermatologist(),
        revision=1,
        status="transferred",
        on=scene.TODAY,
        ground="letter",
    )
    with pytest.raises(booking.BookingRefused, match="care is ending"):
        scene.booked(recall)


@pytest.mark.parametrize("starts_at", [scene.at(20), scene.at(9), scene.at(14, 3), scene.at(16, 50)])
def test_outside_bookable_hours_nothing_is_booked(starts_at):
    room = scene.hours(closes=time(17, 30))
    with pytest.raises(booking.BookingRefused):
        booking.book(
            recalls=[scene.due_check()], resource=room, starts_at=starts_at, by=build.nurse(), minutes=60
        )


def test_a_stale_recall_is_not_booked():
    recall = scene.due_check()
    with pytest.raises(StaleRow):
        booking.book(
            recalls=[recall], resource=scene.hours(), starts_at=scene.at(14), by=build.nurse(), revision=99
        )
    assert not Appointment.objects.exists()


def test_free_slots_leave_out_closure_days_taken_cells_and_the_past():
    room = scene.hours(closes=time(13))  # in Dublin it is noon: 9:00 to 12:00 is over
    tomorrow, friday = scene.TODAY + timedelta(days=1), scene.TODAY + timedelta(days=2)
    scene.hours(day=tomorrow)
    scene.hours(day=friday, closes=time(10))
    ClosureDay.objects.create(day=tomorrow, reason="training")
    booking.book(recalls=[scene.due_check()], resource=room, starts_at=scene.at(11, 20), by=build.nurse())
    found = bookable.free_slots(since=scene.TODAY, until=friday)
    assert [slot.starts_at for slot in found] == [
        scene.at(11, 40), scene.at(8, day=friday), scene.at(8, 20, friday), scene.at(8, 40, friday)
    ]  # fmt: skip


def test_a_slot_keeps_its_wall_clock_when_summer_time_ends():
    """Last Sunday of October: EU Directive 2000/84/EC (from memory)."""
    day = date(2026, 10, 25)
    scene.hours(day=day, opens=time(0), closes=time(4))
    found = bookable.free_slots(since=day, until=day, minutes=60, limit=99)
    assert len({slot.starts_at for slot in found}) == len(found)
    assert found[-1].starts_at + timedelta(minutes=60) <= scene.at(4, 0, day)


def test_hours_of_one_room_do_not_overlap():
    room = scene.hours()
    with pytest.raises(booking.BookingRefused, match="overlap"):
        bookable.open_session(
            resource=room, day=scene.TODAY, opens=time(16), closes=time(18), by=build.manager()
        )


def test_the_manager_books_nothing():
    with pytest.raises(NotAllowed):
        scene.booked(scene.due_check(), by=build.manager())


def test_a_closed_day_takes_no_booking_and_moves_no_due_date():
    recall = scene.due_check()
    room = scene.hours()
    bookable.close_day(day=scene.TODAY, reason="Whit Monday", by=build.nurse())
    assert bookable.free_slots(since=scene.TODAY, until=scene.TODAY) == []
    with pytest.raises(booking.BookingRefused, match="closed"):
        booking.book(recalls=[recall], resource=room, starts_at=scene.at(14), by=build.nurse())
    with pytest.raises(booking.BookingRefused, match="Whit Monday"):
        bookable.close_day(day=scene.TODAY, reason="again", by=build.nurse())
    recall.refresh_from_db()
    assert (recall.state, recall.latest) == ("due", date(2026, 6, 29))
