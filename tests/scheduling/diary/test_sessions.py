"""Sessions that come again, leave, closed days and public holidays: each makes the duty to rebook.

The clinic's own way: common practice, no source.
"""

from datetime import date, time, timedelta

import holidays as library
import pytest

from clinic.access import NotAllowed
from clinic.duties import ledger
from clinic.models import AuditRecord
from clinic.people import leave
from clinic.project.env import Environment, WrongSetting
from lesions.review import signoff
from scheduling.counting import duty_count, whereabouts
from scheduling.desk import bookable, booking, lengths, places
from scheduling.diary import holidays, sessions
from scheduling.models import OPEN, ClosureDay, Recall, Resource, Session
from scheduling.planning import rebook, replan
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
THURSDAY = date(2026, 6, 18)


def template(**more):
    room = Resource.objects.get_or_create(name="Room 9")[0]
    fields = {
        "resource": room,
        "first_day": THURSDAY,
        "opens": time(9),
        "closes": time(12),
        "by": build.manager(),
    }
    return sessions.set_template(**(fields | more))


def booked_with(doctor, day=THURSDAY, hour=9):
    """A check booked in a session of this dermatologist."""
    template(clinician=doctor)
    recall = scene.due_check()
    place = {"resource": Resource.objects.get(name="Room 9"), "starts_at": scene.at(hour, day=day)}
    return booking.book(recalls=[recall], by=build.nurse(), **place)


def why_owed(visit):
    return [row.because["code"] for row in ledger.open_duties(visit.patient).filter(kind="rebook")]


def all_is_held():
    assert duty_count.lost_now() == [] and whereabouts.count_now().holds


def test_sessions_come_again_for_a_year_and_each_morning_for_one_day_more():
    row = template(every_weeks=2)
    days = list(row.sessions.values_list("day", flat=True))
    assert days[:3] == [THURSDAY, date(2026, 7, 2), date(2026, 7, 16)] and len(days) == 27
    with scene.later(days=14):
        assert sessions.extend(scene.TODAY + timedelta(14)) == 1
        assert sessions.extend(scene.TODAY + timedelta(14)) == 0


def test_of_one_room_or_one_person_two_sessions_at_once_are_refused():
    doctor = build.dermatologist()
    template(clinician=doctor)
    for other in ({}, {"resource": Resource.objects.create(name="Room 10"), "clinician": doctor}):
        with pytest.raises(bookable.BookingRefused, match="overlap those of Room 9 on 18 Jun 2026"):
            template(**other)
    assert Session.objects.values("resource").distinct().count() == 1


def test_an_ended_template_owes_what_is_booked_in_it():
    visit = booked_with(build.dermatologist())
    row = Session.objects.first().template
    sessions.end_template(template=row, by=build.manager(), revision=row.revision, last_day=scene.TODAY)
    assert why_owed(visit) == ["no_hours"] and not Session.objects.exists()
    all_is_held()


def test_a_removed_session_owes_its_bookings_and_stays_removed():
    visit = booked_with(build.dermatologist())
    sessions.remove(session=Session.objects.get(day=THURSDAY), by=build.manager())
    assert why_owed(visit) == ["no_hours"]
    sessions.extend(scene.TODAY)
    assert not Session.objects.filter(day=THURSDAY).exists()
    all_is_held()


def test_leave_takes_the_places_and_owes_what_is_booked():
    doctor = build.dermatologist(name="Dr Away")
    visit = booked_with(doctor)
    days = {"first_day": THURSDAY, "last_day": THURSDAY + timedelta(3)}
    row = leave.note(member=doctor, by=doctor, all_the_same=True, **days)
    assert why_owed(visit) == ["away"] and visit.clinician == doctor
    assert places.free(since=THURSDAY, until=THURSDAY, minutes=20, limit=1) == []
    with pytest.raises(bookable.BookingRefused, match="no bookable hours"):
        place = {"resource": visit.resource, "starts_at": scene.at(10, day=THURSDAY)}
        booking.book(recalls=[scene.due_check()], by=build.nurse(), **place)
    all_is_held()
    leave.withdraw(leave=row, by=doctor, revision=row.revision)
    assert why_owed(visit) == [] and places.free(since=THURSDAY, until=THURSDAY, minutes=20, limit=1)
    all_is_held()


def test_leave_entered_again_owes_again():
    doctor = build.dermatologist()
    visit = booked_with(doctor)
    days = {"member": doctor, "by": doctor, "first_day": THURSDAY, "last_day": THURSDAY, "all_the_same": True}
    row = leave.note(**days)
    leave.withdraw(leave=row, by=doctor, revision=row.revision)
    leave.note(**days)
    assert why_owed(visit) == ["away"]
    all_is_held()


def test_a_day_opened_again_owes_no_more_what_only_the_closure_owed():
    visit = booked_with(build.dermatologist())
    row = bookable.close_day(day=THURSDAY, reason="burst pipe", by=build.nurse())
    assert why_owed(visit) == ["closed"]
    bookable.open_day(closed=row, by=build.manager())
    assert why_owed(visit) == [] and not ClosureDay.objects.exists()
    all_is_held()


def test_a_public_holiday_closes_the_clinic_and_moves_bookings(settings):
    """Ireland: the first Monday of August (Organisation of Working Time Act 1997, second schedule; from memory)."""
    settings.PUBLIC_HOLIDAYS = "IE"
    august = date(2026, 8, 3)
    room = scene.hours(day=august)
    visit = booking.book(
        recalls=[scene.due_check()], resource=room, starts_at=scene.at(10, day=august), by=build.nurse()
    )
    assert holidays.close_ahead(scene.TODAY) > 10 and holidays.close_ahead(scene.TODAY) == 0
    assert ClosureDay.objects.get(day=august).holiday
    assert rebook.is_owed(visit)
    assert AuditRecord.objects.filter(action="diary.close", by=None).exists()
    all_is_held()


def test_a_holiday_on_which_the_clinic_works_is_not_closed_again(settings):
    settings.PUBLIC_HOLIDAYS = "IE"
    holidays.close_ahead(scene.TODAY)
    bookable.open_day(closed=ClosureDay.objects.get(day=date(2026, 8, 3)), by=build.manager())
    assert holidays.close_ahead(scene.TODAY) == 0


@pytest.mark.parametrize(("where", "part"), [("DE", "BY"), ("GB", "SCT"), ("IE", None)])
def test_the_holidays_are_those_of_the_published_library(settings, where, part):
    """The days of the library `holidays` (PyPI), asked the plain way; Corpus Christi is kept in Bavaria, not in Berlin."""
    settings.PUBLIC_HOLIDAYS = f"{where}-{part}" if part else where
    published = library.country_holidays(where, subdiv=part, years=[2026, 2027])
    assert set(holidays.between(date(2026, 1, 1), date(2027, 12, 31))) == set(published)
    corpus_christi = date(2026, 6, 4)
    assert (corpus_christi in holidays.between(corpus_christi, corpus_christi)) == (part == "BY")


def test_a_country_nobody_knows_is_refused_at_the_start():
    assert Environment({"PUBLIC_HOLIDAYS": "de-by"}).country("PUBLIC_HOLIDAYS") == "DE-BY"
    for wrong in ("Atlantis", "DE-ZZ"):
        with pytest.raises(WrongSetting, match="DE-BY"):
            Environment({"PUBLIC_HOLIDAYS": wrong}).country("PUBLIC_HOLIDAYS")


def test_lengths_are_set_by_the_manager_and_hold_for_what_is_booked_next():
    sessions.set_length(purpose="full_skin_check", minutes=35, by=build.manager())
    assert lengths.minutes_of([scene.due_check()]) == 35
    with pytest.raises(bookable.BookingRefused):
        sessions.set_length(purpose="full_skin_check", minutes=33, by=build.manager())


def test_hours_kept_for_excisions_are_not_offered_for_a_check():
    template(kind="excision")
    asked = {"since": THURSDAY, "until": THURSDAY, "minutes": 20, "limit": 5}
    assert places.free(**asked) == [] and len(places.free(kind="excision", **asked)) == 5


@pytest.mark.parametrize(
    ("decision", "kind", "minutes"), [("biopsy", "biopsy", 30), ("excise", "excision", 45)]
)
def test_what_was_decided_is_booked_in_the_hours_kept_for_it(decision, kind, minutes):
    lesion = pictures.lesion()
    signoff.decide_in_person(lesion=lesion, by=build.dermatologist(), decision=decision)
    replan.replan_patient(lesion.patient_id)
    row = Recall.objects.get(patient=lesion.patient, subject=f"lesion:{lesion.pk}", state__in=OPEN)
    assert (lengths.kind_of(row), lengths.minutes_of([row])) == (kind, minutes)
    assert places.hours_for(kind) == "visit", "a clinic that keeps no such hours does it in any visit's"
    template(kind=kind)
    assert places.hours_for(kind) == kind


def test_who_may_set_sessions_close_days_and_enter_leave():
    nurse, manager, doctor = build.nurse(), build.manager(), build.dermatologist()
    day, days = {"day": THURSDAY, "reason": "x"}, {"first_day": THURSDAY, "last_day": THURSDAY}
    for act in (
        lambda: template(by=nurse),
        lambda: sessions.set_length(purpose="full_skin_check", minutes=30, by=nurse),
        lambda: leave.note(member=doctor, by=nurse, **days),
        lambda: bookable.close_day(by=build.administrator(), **day),
    ):
        with pytest.raises(NotAllowed):
            act()
    template(by=manager), bookable.close_day(by=manager, **day)
