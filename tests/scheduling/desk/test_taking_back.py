"""What the desk entered wrongly is taken back by who entered it, within ten minutes (docs/domain.md "Taking back").

The clinic's own way: common practice, no source.
"""

from datetime import date, timedelta

import pytest

from clinic.duties import ledger, steps
from clinic.models import Duty
from clinic.people import ending, patients
from scheduling.counting import duty_count
from scheduling.desk import bookable, booking, contacts, taking_back
from scheduling.models import Recall, StruckAttempt
from scheduling.planning import replan
from scheduling.recalls import closing
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene
from tests.scheduling.desk.test_nothing_vanishes import TOMORROW, booked_again, owed, tried

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def recall():
    """Window 1 to 29 June 2026; today is 17 June."""
    return scene.due_check()


def test_a_booking_is_taken_back_and_counts_as_nobodys_delay(recall, nurse):
    visit = scene.booked(recall, by=nurse)
    taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
    recall.refresh_from_db()
    assert (visit.state, recall.state, recall.reopened) == ("cancelled_by_clinic", "due", 0)
    assert not visit.cells.exists()


def test_a_missed_visit_is_booked_again(recall, nurse):
    visit = scene.booked(recall)
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=nurse, revision=visit.revision)
        taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
    recall.refresh_from_db()
    assert (visit.state, recall.state, recall.reopened) == ("booked", "booked", 0)


def test_missed_stands_where_it_was_booked_anew(recall, nurse):
    visit = scene.booked(recall)
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=nurse, revision=visit.revision)
        recall.refresh_from_db()
        booking.book(recalls=[recall], resource=visit.resource, starts_at=scene.at(15, 20), by=nurse)
        with pytest.raises(booking.BookingRefused, match="acted"):
            taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)


@pytest.mark.parametrize("done", [[], [("full_skin_check", "patient")]])
def test_came_is_taken_back_with_what_was_done(recall, doctor, done):
    visit = scene.booked(recall)
    with scene.later(hours=4):
        booking.record_attended(appointment=visit, by=doctor, revision=visit.revision, done=done)
        replan.replan_patient(recall.patient_id)
        visit.refresh_from_db()
        taking_back.take_back(appointment=visit, by=doctor, revision=visit.revision)
        replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    assert (visit.state, recall.state, recall.reopened) == ("booked", "booked", 0)


def test_came_stands_where_what_follows_is_booked(recall, doctor):
    visit = scene.booked(recall)
    with scene.later(hours=4):
        done = [("full_skin_check", "patient")]
        booking.record_attended(appointment=visit, by=doctor, revision=visit.revision, done=done)
        following = scene.check_of(recall.patient)
        scene.booked(following, scene.at(day=following.target))
        with pytest.raises(booking.BookingRefused, match="booked already"):
            taking_back.take_back(appointment=visit, by=doctor, revision=visit.revision)


@pytest.mark.parametrize(("minutes", "own"), [(11, True), (1, False)])
def test_only_who_did_it_takes_it_back_within_ten_minutes(recall, nurse, minutes, own):
    visit = scene.booked(recall, by=nurse)
    by = nurse if own else build.nurse()
    with scene.later(minutes=minutes), pytest.raises(booking.BookingRefused):
        taking_back.take_back(appointment=visit, by=by, revision=visit.revision)


def test_a_struck_attempt_counts_no_more_and_its_route_lives(recall, nurse):
    route = recall.patient.routes.get()
    made = tried(recall, nurse, outcome="dead", address=route.value)
    assert len(owed(recall.patient, "find_a_way")) == 1
    taking_back.strike(attempt=made, by=nurse)
    route.refresh_from_db()
    assert route.dead_since is None and owed(recall.patient, "find_a_way") == []
    assert StruckAttempt.objects.get().attempt == made


def test_a_struck_attempt_gives_back_what_it_used_up(recall, nurse):
    for hours in (50, 26, 0):
        made = tried(recall, nurse, hours_ago=hours)
    assert len(owed(recall.patient, "decide_what_follows")) == 1
    taking_back.strike(attempt=made, by=nurse)
    assert contacts.attempts_left(recall) == 1
    assert owed(recall.patient, "decide_what_follows") == []


def test_a_second_declined_asks_when_the_first_is_struck(recall, nurse):
    """Of two that ask the same the first alone opened the question; struck through, it left the second unheard."""
    first = tried(recall, nurse, outcome="declined")
    second = tried(recall, nurse, outcome="declined")
    taking_back.strike(attempt=first, by=nurse)
    (duty,) = owed(recall.patient, "decide_what_follows")
    assert duty.opened_from == f"scheduling.contactattempt:{second.pk}"
    assert duty_count.lost_now() == []


def test_a_used_up_ladder_asks_when_declined_is_struck(recall, nurse):
    tried(recall, nurse, hours_ago=50)
    tried(recall, nurse, hours_ago=26)
    declined = tried(recall, nurse, outcome="declined", hours_ago=0)
    tried(recall, nurse, route="post", address="Mill Lane 2")
    taking_back.strike(attempt=declined, by=nurse)
    (duty,) = owed(recall.patient, "decide_what_follows")
    assert duty.because["code"] == "attempts_used_up"
    assert duty_count.lost_now() == []


def test_what_waited_behind_a_missed_visit_asks_when_taken_back(recall, nurse):
    for hour in (14, 15):
        visit = scene.booked(recall, by=nurse) if hour == 14 else booked_again(recall, scene.at(hour))
        with scene.later(hours=hour - 10):
            booking.record_missed(appointment=visit, by=nurse, revision=visit.revision)
        recall.refresh_from_db()
    with scene.later(hours=5):
        tried(recall, nurse, outcome="declined")
        taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
        (duty,) = owed(recall.patient, "decide_what_follows")
        assert duty.because["code"] == "declined"
        assert duty_count.lost_now() == []


def test_a_second_returned_letter_asks_when_the_first_is_struck(recall, nurse):
    first = tried(recall, nurse, outcome="returned", route="post", address="Mill Lane 2")
    second = tried(recall, nurse, outcome="returned", route="post", address="Mill Lane 3")
    taking_back.strike(attempt=first, by=nurse)
    (duty,) = owed(recall.patient, "find_a_way")
    assert duty.opened_from == f"scheduling.contactattempt:{second.pk}"
    assert duty_count.lost_now() == []


def test_the_count_sees_a_returned_letter_nobody_looks_into(recall, nurse):
    """A duty that was withdrawn with another attempt is no answer to this one."""
    tried(recall, nurse, outcome="returned", route="post", address="Mill Lane 2")
    (duty,) = owed(recall.patient, "find_a_way")
    ledger.withdraw(duty, by=nurse, because="scheduling.struckattempt:1")
    assert [row.code for row in duty_count.lost_now()] == ["returned"]


def test_the_last_way_asks_when_what_it_waited_behind_is_struck(recall, nurse):
    returned = tried(recall, nurse, outcome="returned", route="post", address="Mill Lane 2")
    tried(recall, nurse, outcome="dead", address=recall.patient.routes.get().value)
    taking_back.strike(attempt=returned, by=nurse)
    assert len(owed(recall.patient, "find_a_way")) == 1
    assert duty_count.lost_now() == []


def test_what_a_dermatologist_answered_is_not_asked_again(recall, nurse, doctor):
    tried(recall, nurse, outcome="declined")
    (duty,) = owed(recall.patient, "decide_what_follows")
    steps.settle(duty=duty, by=doctor, revision=1, outcome="decided", words="a letter")
    with scene.later(minutes=1):
        made = tried(recall, nurse, outcome="declined")
        taking_back.strike(attempt=made, by=nurse)
    assert owed(recall.patient, "decide_what_follows") == []


def test_a_struck_call_puts_the_patient_on_the_list_again(recall, nurse):
    worklists.build(scene.TODAY)
    made = tried(recall, nurse, outcome="asks_later", next_on=TOMORROW)
    assert scene.to_reach() == []
    taking_back.strike(attempt=made, by=nurse)
    assert scene.to_reach() == [recall]


def test_a_call_that_a_dermatologist_answered_stays(recall, nurse, doctor):
    made = tried(recall, nurse, outcome="declined")
    (duty,) = owed(recall.patient, "decide_what_follows")
    steps.settle(duty=duty, by=doctor, revision=1, outcome="decided", words="a letter")
    with pytest.raises(contacts.ContactRefused, match="acted"):
        taking_back.strike(attempt=made, by=nurse)
    assert Recall.objects.get(pk=recall.pk).state == "due"


# ---- cancelled, moved, closed ---------------------------------------------------------------------


def cancelled(visit, by, whose="patient"):
    return booking.cancel(appointment=visit, by=by, revision=visit.revision, whose=whose)


def test_a_cancellation_is_taken_back_while_the_place_is_free(recall, nurse):
    visit = scene.booked(recall, scene.at(day=TOMORROW))
    before = set(visit.cells.values_list("resource", "starts_at"))
    cancelled(visit, nurse)
    taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
    recall.refresh_from_db()
    assert (visit.state, recall.state, recall.reopened) == ("booked", "booked", 0)
    assert set(visit.cells.values_list("resource", "starts_at")) == before
    assert duty_count.lost_now() == []


def test_a_place_that_somebody_else_has_by_now_stays_theirs(recall, nurse):
    visit, other = scene.booked(recall, scene.at(day=TOMORROW)), scene.due_check()
    cancelled(visit, nurse)
    booking.book(recalls=[other], resource=visit.resource, starts_at=visit.starts_at, by=build.nurse())
    with pytest.raises(booking.SlotTaken):
        taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)


def test_a_cancellation_of_a_day_that_was_closed_stays(recall, nurse):
    visit = scene.booked(recall, scene.at(day=TOMORROW))
    cancelled(visit, nurse)
    bookable.close_day(day=TOMORROW, reason="training", by=nurse)
    with pytest.raises(booking.BookingRefused, match="closed"):
        taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)


def test_what_the_end_of_care_cancelled_is_not_booked_again(recall, doctor):
    visit, patient = scene.booked(recall, scene.at(day=TOMORROW)), recall.patient
    said = {"status": "moved", "on": scene.TODAY, "ground": "her letter"}
    ending.end_care(patient=patient, by=doctor, revision=patient.revision, **said)
    visit.refresh_from_db()
    with pytest.raises(booking.BookingRefused):
        taking_back.take_back(appointment=visit, by=doctor, revision=visit.revision)


def test_a_moved_appointment_stands_again_where_it_stood(recall, nurse):
    """The booking was another's and long ago: only the moving is taken back."""
    visit = scene.booked(recall, scene.at(day=TOMORROW))
    room, was = visit.resource, visit.starts_at
    late = recall.latest + timedelta(days=2)
    other = scene.hours(day=late, name="Room 9")
    moved = {"resource": other, "starts_at": scene.at(day=late), "by": nurse, "revision": visit.revision}
    booking.move(appointment=visit, **moved)
    assert len(owed(recall.patient, "rebook")) == 1
    taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
    assert (visit.state, visit.resource, visit.starts_at) == ("booked", room, was)
    assert owed(recall.patient, "rebook") == [] and {cell.resource for cell in visit.cells.all()} == {room}


def test_what_was_taken_back_is_not_taken_back_once_more(recall, nurse):
    """Else a second press would cancel what somebody else booked."""
    visit = scene.booked(recall)
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=nurse, revision=visit.revision)
        taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
        with pytest.raises(booking.BookingRefused):
            taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
    assert visit.state == "booked"


def closed(recall, by, ground="declined"):
    recall.refresh_from_db()
    return closing.close(recall=recall, by=by, revision=recall.revision, ground=ground, note="by telephone")


def test_closing_answers_what_was_asked_about_the_recall(recall, nurse, doctor):
    tried(recall, nurse, outcome="declined")
    closed(recall, doctor)
    duty = Duty.objects.get(kind="decide_what_follows")
    assert (duty.evidence, duty.ended_by) == (f"scheduling.recall:{recall.pk}", doctor)


def test_a_closing_taken_back_is_open_and_asked_again(recall, nurse, doctor):
    tried(recall, nurse, outcome="declined")
    closed(recall, doctor)
    replan.replan_patient(recall.patient_id)
    closing.take_back(recall=recall, by=doctor, revision=recall.revision)
    replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    assert (recall.state, recall.ground, recall.latest) == ("due", "", date(2026, 6, 29))
    assert len(owed(recall.patient, "decide_what_follows")) == 1
    assert Recall.objects.filter(patient=recall.patient, purpose=recall.purpose, state="due").get() == recall
    assert duty_count.lost_now() == []


def test_only_who_closed_it_within_ten_minutes(recall, doctor):
    closed(recall, doctor)
    with pytest.raises(closing.RecallRefused, match="Only who closed it"):
        closing.take_back(recall=recall, by=build.dermatologist(), revision=recall.revision)
    with scene.later(minutes=11), pytest.raises(closing.RecallRefused):
        closing.take_back(recall=recall, by=doctor, revision=recall.revision)


def test_a_closing_whose_next_is_booked_stays(recall, doctor):
    closed(recall, doctor)
    following = scene.check_of(recall.patient)
    scene.booked(following, scene.at(day=following.target))
    with pytest.raises(closing.RecallRefused, match="booked already"):
        closing.take_back(recall=recall, by=doctor, revision=recall.revision)


def test_a_closing_is_taken_back_on_its_page(client, recall, doctor):
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    closed(recall, doctor)
    page = read(client.get(f"/recalls/{recall.pk}/"))
    assert page.find("button", "Take the closing back")
    form = {"revision": recall.revision}
    assert "open again" in read(client.post(f"/recalls/{recall.pk}/take_back/", form, follow=True))


# ---- what a dermatologist answers to a spent ladder -------------------------------------------------


def answered(recall, nurse, doctor, outcome, **said):
    tried(recall, nurse, outcome="declined")
    (duty,) = owed(recall.patient, "decide_what_follows")
    return steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome=outcome, **said)


UNTIL = scene.TODAY + timedelta(days=9)


@pytest.mark.parametrize(
    ("outcome", "said", "kind"),
    [
        ("try_on", {}, "try_on"),
        ("letter", {"words": "we would like to see you"}, "write_letter"),
        ("referrer", {"whom": "Dr. Other"}, "ask_referrer"),
    ],
)
def test_each_answer_is_a_duty_with_its_day(recall, nurse, doctor, outcome, said, kind):
    """docs/domain.md "What is owed": try on until D, letter, ask the referrer."""
    answered(recall, nurse, doctor, outcome, until=UNTIL, **said)
    (duty,) = owed(recall.patient, kind)
    assert (duty.due_on, duty.subject) == (UNTIL, recall.subject)
    assert contacts.attempts_left(recall) == 3 and duty_count.lost_now() == []


def test_the_desk_reads_until_when_it_goes_on_trying(signed_in, recall, nurse, doctor):
    answered(recall, nurse, doctor, "try_on", until=UNTIL, words="evenings")
    page = read(signed_in.get(f"/recalls/{recall.pk}/"))
    assert f"{doctor} on 17 Jun 2026: go on trying until 26 Jun 2026: evenings" in page


@pytest.mark.parametrize("until", [None, scene.TODAY, scene.TODAY + timedelta(days=91)])
def test_an_answer_says_until_when_within_ninety_days(recall, nurse, doctor, until):
    with pytest.raises(ledger.DutyRefused, match="until"):
        answered(recall, nurse, doctor, "try_on", until=until)


def test_booked_ends_going_on_trying(recall, nurse, doctor):
    answered(recall, nurse, doctor, "try_on", until=UNTIL)
    recall.refresh_from_db()
    visit = scene.booked(recall, scene.at(day=TOMORROW))
    assert Duty.objects.get(kind="try_on").evidence == f"scheduling.appointment:{visit.pk}"


def test_not_reached_until_then_is_decided_again(recall, nurse, doctor):
    answered(recall, nurse, doctor, "try_on", until=UNTIL)
    (duty,) = owed(recall.patient, "try_on")
    steps.settle(duty=duty, by=nurse, revision=duty.revision, outcome="not_reached", words="4 calls")
    assert len(owed(recall.patient, "decide_what_follows")) == 1


def test_what_the_referrer_says_goes_to_a_dermatologist(recall, nurse, doctor):
    answered(recall, nurse, doctor, "referrer", until=UNTIL, whom="Dr. Other")
    (duty,) = owed(recall.patient, "ask_referrer")
    steps.settle(duty=duty, by=nurse, revision=duty.revision, outcome="answered", words="she moved away")
    (again,) = owed(recall.patient, "decide_what_follows")
    assert "she moved away" in again.note


# ---- care is taken up again -------------------------------------------------------------------------


def test_resuming_care_asks_for_a_way_where_none_works(doctor, nurse):
    patient = scene.ended("discharged")
    patients.kill_route(route=patient.routes.get(), by=nurse)
    assert owed(patient, "find_a_way") == []
    patient.refresh_from_db()
    ending.resume_care(patient=patient, by=doctor, revision=patient.revision)
    assert len(owed(patient, "find_a_way")) == 1 and duty_count.lost_now() == []


def test_resuming_care_opens_find_a_way_that_was_handed_over(doctor):
    patient = build.patient(phone="")
    said = {"status": "moved", "on": scene.TODAY, "ground": "her letter"}
    ending.end_care(patient=patient, by=doctor, revision=patient.revision, **said)
    (duty,) = owed(patient, "hand_over")
    said = {"whom": "the practice", "words": "accepted"}
    steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome="handed_over", **said)
    assert owed(patient, "find_a_way") == []
    patient.refresh_from_db()
    ending.resume_care(patient=patient, by=doctor, revision=patient.revision)
    assert len(owed(patient, "find_a_way")) == 1
