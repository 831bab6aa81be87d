"""What the desk owes cannot leave every list: docs/domain.md "What is owed"; the clinic's own way, common practice, no source."""

from datetime import date, timedelta

import pytest

from clinic import clock
from clinic.access import NotAllowed
from clinic.duties import ledger, steps
from clinic.duties.ledger import DutyRefused
from clinic.models import Duty, StaleRow, Step
from clinic.people import patients
from clinic.wording import write_day
from lesions.models import UrgentSign
from lesions.register import register
from scheduling.counting import duty_count
from scheduling.desk import bookable, booking, contacts, taking_back, unfiled, what_next
from scheduling.models import Appointment, Recall
from scheduling.planning import rebook, replan
from scheduling.planning.wording import say_because
from scheduling.recalls import closing, overrides, wording
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")

TOMORROW = scene.TODAY + timedelta(days=1)  # a Thursday


@pytest.fixture
def recall():
    """Window 1 to 29 June 2026; today is 17 June."""
    return scene.due_check()


def tried(recall, by, outcome="no_answer", hours_ago=0, route="phone", address="000", **more):
    recall.refresh_from_db()
    at = clock.now() - timedelta(hours=hours_ago)
    fields = {"route": route, "address": address, "outcome": outcome, "at": at}
    return contacts.log_attempt(recall=recall, by=by, **(fields | more))


def urgent(patient=None):
    """A bleeding lesion: the recall of urgency A that the plan opens."""
    lesion = build.lesion(patient or build.patient())
    register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    return scene.open_recall(lesion.patient, "lesion_examination")


def owed(patient, kind):
    return list(ledger.open_duties(patient).filter(kind=kind))


# ---- way 5: put off -----------------------------------------------------------------------------


def test_a_nurse_puts_off_to_the_last_day_of_the_window(recall, nurse):
    tried(recall, nurse, outcome="asks_later", next_on=recall.latest)
    with pytest.raises(contacts.ContactRefused, match="29 Jun 2026 at the latest"):
        tried(recall, nurse, outcome="asks_later", next_on=recall.latest + timedelta(days=1))


def test_past_its_window_the_next_day_is_the_next_working_day(nurse):
    late = scene.overdue_check()
    tried(late, nurse, next_on=TOMORROW)
    with pytest.raises(contacts.ContactRefused, match="18 Jun 2026 at the latest"):
        tried(late, nurse, next_on=TOMORROW + timedelta(days=1))


def test_an_urgent_recall_is_put_off_over_the_weekend_at_most(nurse):
    row = urgent()
    with scene.later(days=2):  # a Friday
        monday = clock.today() + timedelta(days=3)
        tried(row, nurse, outcome="asks_later", next_on=monday)
        with pytest.raises(contacts.ContactRefused):
            tried(row, nurse, outcome="asks_later", next_on=monday + timedelta(days=1))


def test_only_a_dermatologist_puts_off_for_longer(recall, nurse, doctor):
    tried(recall, doctor, outcome="asks_later", next_on=recall.latest + timedelta(days=30))
    with pytest.raises(NotAllowed):
        closing.mark_unreachable(
            recall=recall, by=nurse, revision=recall.revision, next_look_on=TOMORROW, note="4 calls"
        )
    closing.mark_unreachable(
        recall=recall, by=doctor, revision=recall.revision, next_look_on=TOMORROW, note="4 calls"
    )
    assert recall.next_look_on == TOMORROW


def test_look_again_answers_what_was_asked_and_leaves_todays_list(recall, nurse, doctor):
    worklists.build(scene.TODAY)
    tried(recall, nurse, outcome="declined")
    day = recall.latest + timedelta(days=30)
    what_next.look_again(
        recall=recall, by=doctor, revision=recall.revision, next_look_on=day, note="after the summer"
    )
    assert owed(recall.patient, "decide_what_follows") == []
    assert scene.to_reach() == []
    assert scene.to_reach(day) == [recall]
    step = Step.objects.get(duty__kind="decide_what_follows")
    assert (step.words, step.until) == ("after the summer", day)
    (answers,) = what_next.said_about([recall.patient_id]).values()
    assert f"look again on {write_day(day)}: after the summer" in wording.answer_of(answers[-1])


def test_what_was_put_off_comes_back_when_its_window_is_brought_forward(recall, nurse):
    tried(recall, nurse, outcome="asks_later", next_on=recall.latest)
    sooner = recall.latest - timedelta(days=5)
    Recall.objects.filter(pk=recall.pk).update(latest=sooner)  # as other rules would
    assert scene.to_reach(sooner - timedelta(days=1)) == []
    assert scene.to_reach(sooner) == [recall]


def _sooner(patient, doctor):
    patient.refresh_from_db()
    overrides.set_date(
        patient=patient, by=doctor, purpose="full_skin_check", subject="patient",
        date=date(2026, 6, 19), reason="sooner", revision=patient.facts_revision,
    )  # fmt: skip
    return scene.check_of(patient)


def test_used_up_attempts_reach_a_dermatologist_once(recall, nurse):
    for hours in (60, 50, 26, 2):
        tried(recall, nurse, hours_ago=hours)
    (duty,) = owed(recall.patient, "decide_what_follows")
    assert (duty.subject, duty.urgent, duty.because["code"]) == ("patient", False, "attempts_used_up")
    recall.refresh_from_db()
    assert recall.state == "due"


def test_after_a_dermatologists_word_the_ladder_begins_anew(recall, nurse, doctor):
    for hours in (50, 26, 2):
        made = tried(recall, nurse, hours_ago=hours)
    duty = Duty.objects.get(opened_from=f"scheduling.contactattempt:{made.pk}")
    steps.settle(duty=duty, by=doctor, revision=1, outcome="decided", words="try on until 26 June")
    assert contacts.attempts_left(recall) == 3
    with scene.later(hours=5):
        tried(recall, nurse)
    assert owed(recall.patient, "decide_what_follows") == []


def test_the_desk_reads_what_the_dermatologist_decided(signed_in, recall, nurse, doctor):
    made = tried(recall, nurse, outcome="declined")
    assert "Full skin check: declined. A dermatologist decides what follows." in read(
        signed_in.get("/today/")
    )
    duty = Duty.objects.get(opened_from=f"scheduling.contactattempt:{made.pk}")
    steps.settle(duty=duty, by=doctor, revision=1, outcome="decided", words="ask her sister")
    for address in ("/today/", f"/recalls/{recall.pk}/"):
        assert f"{doctor} on 17 Jun 2026: ask her sister" in read(signed_in.get(address))


def test_declined_reaches_a_dermatologist_urgently_where_it_is_urgent(nurse):
    row = urgent()
    tried(row, nurse, outcome="declined")
    (duty,) = owed(row.patient, "decide_what_follows")
    assert (duty.subject, duty.urgent) == (row.subject, True)
    with pytest.raises(NotAllowed):
        steps.settle(duty=duty, by=nurse, revision=1, outcome="decided", words="let it be")


def test_the_second_missed_visit_reaches_a_dermatologist(recall, nurse):
    for hour, expected in ((14, 0), (15, 1)):
        visit = scene.booked(recall, scene.at(hour)) if hour == 14 else booked_again(recall, scene.at(hour))
        with scene.later(hours=hour - 10):
            booking.record_missed(appointment=visit, by=nurse, revision=visit.revision)
        recall.refresh_from_db()
        assert len(owed(recall.patient, "decide_what_follows")) == expected


def booked_again(recall, starts_at):
    recall.refresh_from_db()
    room = recall.appointments.first().resource
    with clock.at(starts_at - timedelta(hours=1)):
        return booking.book(recalls=[recall], resource=room, starts_at=starts_at, by=build.nurse())


# ---- way 8, 9, 21: what an appointment stands for -----------------------------------------------


def test_a_late_appointment_is_booked_and_stands_as_rebook(recall, nurse, doctor):
    visit = scene.booked(recall, scene.at(day=recall.latest + timedelta(days=2)))
    (duty,) = owed(recall.patient, "rebook")
    assert visit.state == "booked" and duty.subject == f"appointment:{visit.pk}"
    with pytest.raises(NotAllowed):
        steps.settle(duty=duty, by=nurse, revision=1, outcome="confirmed", words="it can wait")
    steps.settle(duty=duty, by=doctor, revision=1, outcome="confirmed", words="it can wait")
    rebook.look_at(visit, by=nurse)
    assert owed(recall.patient, "rebook") == []


def test_dates_brought_forward_before_the_booked_day_are_owed(doctor):
    recall = scene.check_of(scene.melanoma(date(2026, 3, 25)))  # 11 June to 9 July
    visit, patient = scene.booked(recall, scene.at(day=date(2026, 7, 3))), recall.patient
    assert owed(patient, "rebook") == []
    row = _sooner(patient, doctor)
    assert row.state == "booked" and row.latest < date(2026, 7, 3)
    (duty,) = owed(patient, "rebook")
    assert duty.opened_from == f"scheduling.appointment:{visit.pk}"


def test_a_closed_day_owes_each_of_its_appointments(nurse):
    first, second, other = scene.due_check(), scene.due_check(), scene.due_check()
    for row, day in ((first, 18), (second, 18), (other, 19)):
        scene.booked(row, scene.at(day=date(2026, 6, day)))
    bookable.close_day(day=date(2026, 6, 18), reason="training", by=nurse)
    assert {row.patient_id for row in Duty.objects.filter(kind="rebook")} == {
        first.patient_id,
        second.patient_id,
    }


def test_a_moved_appointment_ends_it_and_frees_the_old_place(recall, nurse):
    visit = scene.booked(recall, scene.at(day=date(2026, 6, 18)))
    bookable.close_day(day=date(2026, 6, 18), reason="training", by=nurse)
    scene.hours(day=date(2026, 6, 19), name=visit.resource.name)
    booking.move(
        appointment=visit, resource=visit.resource, starts_at=scene.at(day=date(2026, 6, 19)), by=nurse,
        revision=visit.revision,
    )  # fmt: skip
    recall.refresh_from_db()
    assert owed(recall.patient, "rebook") == [] and recall.state == "booked"
    assert {cell.starts_at.date() for cell in visit.cells.all()} == {date(2026, 6, 19)}


def test_moved_to_a_later_day_it_is_owed_again(recall, nurse):
    visit = scene.booked(recall, scene.at(day=date(2026, 7, 1)))
    scene.hours(day=date(2026, 7, 2), name=visit.resource.name)
    moved = {"resource": visit.resource, "starts_at": scene.at(day=date(2026, 7, 2)), "by": nurse}
    seen = visit.revision
    booking.move(appointment=visit, revision=seen, **moved)
    assert "2 Jul 2026" in say_because(owed(recall.patient, "rebook")[0].because)
    with pytest.raises(StaleRow):
        booking.move(appointment=visit, revision=seen, **moved)


def test_nobody_is_moved_into_a_taken_place(recall, nurse):
    visit, other = scene.booked(recall), scene.booked(scene.due_check())
    before = list(visit.cells.values_list("resource", "starts_at"))
    with pytest.raises(booking.SlotTaken):
        booking.move(
            appointment=visit, resource=other.resource, starts_at=other.starts_at, by=nurse, revision=1
        )
    assert list(Appointment.objects.get(pk=visit.pk).cells.values_list("resource", "starts_at")) == before


def test_a_visit_that_has_begun_is_not_moved(recall, nurse):
    visit = scene.booked(recall)
    with scene.later(hours=4), pytest.raises(booking.BookingRefused, match="begun"):
        booking.move(appointment=visit, resource=visit.resource, starts_at=scene.at(16), by=nurse, revision=1)


def test_an_appointment_is_moved_on_its_page(signed_in, recall):
    visit = scene.booked(recall, scene.at(day=recall.latest + timedelta(days=1)))
    room = scene.hours(day=TOMORROW, name="Room 9")
    page = read(signed_in.get(f"/appointments/{visit.pk}/move/"))
    assert "the last day for the full skin check is 29 Jun 2026" in page and "Room 9" in page
    form = {"place": f"{room.pk}|{scene.at(9, day=TOMORROW).isoformat()}", "revision": visit.revision}
    page = read(signed_in.post(f"/appointments/{visit.pk}/move/", form, follow=True))
    assert "Moved for" in page and owed(recall.patient, "rebook") == []


def test_a_walk_in_while_booked_leaves_an_appointment_to_rebook(recall, nurse):
    visit = scene.booked(recall, scene.at(day=date(2026, 6, 26)))
    scene.came(recall.patient, scene.TODAY)
    replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    assert recall.state == "completed"
    assert len(owed(recall.patient, "rebook")) == 1
    booking.cancel(appointment=visit, by=nurse, revision=visit.revision, whose="clinic")
    assert owed(recall.patient, "rebook") == []


def test_an_outcome_ends_what_was_owed_about_the_appointment(nurse):
    visit = scene.booked(scene.overdue_check())
    assert len(owed(visit.patient, "rebook")) == 1
    with scene.later(hours=4):
        booking.record_missed(appointment=visit, by=nurse, revision=visit.revision)
    assert owed(visit.patient, "rebook") == []


def test_what_was_declined_says_why_the_next_one_stands_on_today(signed_in, doctor):
    recall = scene.check_of(scene.melanoma(date(2026, 2, 15)))
    closing.close(recall=recall, by=doctor, revision=recall.revision, ground="declined", note="by phone")
    with scene.later(days=50):
        replan.replan_patient(recall.patient_id)
        closing.become_due(clock.today())
        worklists.build(clock.today())
        page = read(signed_in.get("/today/"))
    assert f"declined after being informed on 17 Jun 2026 by {doctor}, the next one of the series" in page


# ---- way 19: booked, cancelled ------------------------------------------------------------------


def test_booked_is_refused_without_an_appointment(recall, nurse):
    with pytest.raises(contacts.ContactRefused, match="Book the appointment first"):
        tried(recall, nurse, outcome="booked")
    scene.booked(recall)
    assert tried(recall, nurse, outcome="booked").outcome == "booked"


@pytest.mark.parametrize(
    ("walked_in", "said"), [(False, "the recall is open again"), (True, "nothing is open again")]
)
def test_cancelling_says_the_truth(signed_in, recall, walked_in, said):
    visit = scene.booked(recall, scene.at(day=date(2026, 6, 26)))
    if walked_in:
        scene.came(recall.patient, scene.TODAY)
        replan.replan_patient(recall.patient_id)
    form = {"revision": visit.revision, "whose": "patient", "why": "said so"}
    page = read(signed_in.post(f"/appointments/{visit.pk}/cancel/", form, follow=True))
    assert said in page


# ---- find a way ---------------------------------------------------------------------------------


def test_the_last_route_that_dies_opens_find_a_way(recall, nurse):
    (route,) = recall.patient.routes.all()
    other = patients.add_route(patient=recall.patient, by=nurse, kind="email", value="a@example.org")
    patients.kill_route(route=route, by=nurse)
    assert owed(recall.patient, "find_a_way") == []
    patients.kill_route(route=other, by=nurse)
    assert len(owed(recall.patient, "find_a_way")) == 1
    new = patients.add_route(patient=recall.patient, by=nurse, kind="phone", value="001")
    assert owed(recall.patient, "find_a_way") == []
    assert Duty.objects.get(kind="find_a_way").evidence == f"clinic.contactroute:{new.pk}"


def test_a_letter_that_came_back_opens_find_a_way(recall, nurse):
    route = patients.add_route(patient=recall.patient, by=nurse, kind="post", value="1 Long Street")
    tried(recall, nurse, outcome="returned", route="post", address=route.value)
    assert len(owed(recall.patient, "find_a_way")) == 1


def test_nobody_is_registered_without_a_way_unseen(nurse):
    assert len(owed(build.patient(by=nurse, phone=""), "find_a_way")) == 1


# ---- somebody rings who is not found ------------------------------------------------------------


def rang(by, **more):
    fields = {"name": "A. Caller", "number": "000 77", "words": "my mole bleeds", "signs": ["bleeding"]}
    return unfiled.take(by=by, **(fields | more))


def test_a_caller_nobody_found_is_owed_within_a_day(nurse):
    duty = rang(nurse)
    assert (duty.kind, duty.patient, duty.urgent) == ("file_call", None, True)
    assert "000 77" in duty.note and "my mole bleeds" in duty.note


def test_filed_under_a_patient_its_signs_are_urgent_work(nurse):
    patient, duty = build.patient(), rang(nurse)
    with pytest.raises(DutyRefused, match="No record"):
        steps.settle(duty=duty, by=nurse, revision=1, outcome="filed", whom="QD-99999")
    steps.settle(duty=duty, by=nurse, revision=1, outcome="filed", whom=patient.number)
    sign = UrgentSign.objects.get()
    assert (sign.patient, sign.lesion, sign.sign) == (patient, None, "bleeding")
    assert Duty.objects.get(pk=duty.pk).patient == patient
    assert scene.open_recall(patient, "lesion_examination").urgency == "A"


def test_no_patient_of_ours_is_said_by_a_second_person(nurse):
    duty, other = rang(nurse, signs=[]), build.nurse()
    with pytest.raises(DutyRefused, match="second person"):
        steps.settle(duty=duty, by=nurse, revision=1, outcome="nobody", words="not on file")
    duty.refresh_from_db()
    steps.settle(duty=duty, by=other, revision=1, outcome="nobody", words="not on file")
    assert owed(None, "file_call") == []


def test_a_worry_without_a_sign_is_work_once_it_is_filed(nurse):
    patient, duty = build.patient(), rang(nurse, words="I am just worried", signs=[])
    steps.settle(duty=duty, by=nurse, revision=1, outcome="filed", whom=patient.number)
    worry = UrgentSign.objects.get()
    assert (worry.patient, worry.sign, worry.words) == (patient, "worry", "I am just worried")
    assert scene.open_recall(patient, "lesion_examination").urgency == "A"


@pytest.mark.parametrize("signs", [["bleeding"], []])
def test_the_worry_of_a_filed_call_is_not_taken_back(nurse, signs):
    duty = rang(nurse, signs=signs)
    step = steps.settle(duty=duty, by=nurse, revision=1, outcome="filed", whom=build.patient().number)
    with pytest.raises(DutyRefused, match="urgent work"):
        steps.strike(step=step, by=nurse)
    assert UrgentSign.objects.exists() and Duty.objects.get(pk=duty.pk).ended_at is not None


def test_the_form_for_a_caller_is_one_press_from_every_page(signed_in):
    page = read(signed_in.get("/diary/"))
    assert page.leads_to("/calls/worried/")
    assert read(signed_in.post("/calls/worried/", {"words": "Nobody"})).leads_to("/calls/unknown/")
    form = {"name": "A. Caller", "number": "000 77", "words": "please call back"}
    page = read(signed_in.post("/calls/unknown/", form, follow=True))
    assert "A. Caller" in page and "File the call" in page


def test_the_count_of_duties_agrees_with_what_the_desk_took_back(recall, nurse):
    steps.settle(duty=rang(nurse), by=nurse, revision=1, outcome="filed", whom=recall.patient.number)
    visit = scene.booked(recall, scene.at(day=TOMORROW), by=nurse)
    taking_back.take_back(appointment=visit, by=nurse, revision=visit.revision)
    taking_back.strike(attempt=tried(recall, nurse, outcome="declined"), by=nurse)
    replan.replan_patient(recall.patient_id)
    assert duty_count.lost_now() == []
