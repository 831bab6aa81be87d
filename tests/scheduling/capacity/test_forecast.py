"""The year ahead against the diary: every expected count is worked out by hand beside its test."""

from datetime import date, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import clock, jobs
from clinic.tally import tally
from scheduling import background
from scheduling.capacity import forecast as capacity
from scheduling.capacity import forecast_jobs
from scheduling.desk import bookable, booking, places
from scheduling.models import Appointment, Resource, YearRun
from scheduling.planning.rules_in_force import rules_in_force
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
MONDAY = date(2026, 6, 15)  # of the week of scene.TODAY, a Wednesday


def forecast(missed=0.0):
    return capacity.forecast(scene.TODAY, missed, capacity.count_wanted(scene.TODAY, rules_in_force()[1]))


def wanted(found):
    return {week.monday: week.wanted.total() for week in found.weeks if week.wanted}


def melanoma_checks(found):
    """Without the yearly risk assessment, which is of urgency C."""
    return {week.monday: week.wanted["B"] for week in found.weeks if week.wanted["B"]}


def test_a_check_every_three_months_is_wanted_in_its_four_weeks():
    """Excised 15 Mar 2026: 15 Jun has come and counts now, then 15 Sep, 15 Dec, 15 Mar 2027 (calendar)."""
    scene.due_check()
    found = forecast()
    mondays = [MONDAY, date(2026, 9, 14), date(2026, 12, 14), date(2027, 3, 15)]
    assert melanoma_checks(found) == dict.fromkeys(mondays, 1)
    assert (found.wanted.records, found.wanted.late, found.wanted.behind) == (1, 0, 0)
    assert len(found.weeks) == 52 and found.weeks[-1].monday == MONDAY + timedelta(weeks=51)


def test_what_is_overdue_counts_in_the_first_week_and_once():
    """Due by 29 May: wanted this week. The next, 15 Aug, is still in its own week."""
    scene.overdue_check()
    found = forecast()
    assert found.wanted.late == 1 and found.weeks[0].wanted["B"] == 1
    assert sorted(melanoma_checks(found))[1] == date(2026, 8, 10)


def test_two_duties_that_one_visit_completes_want_one_visit():
    """Melanomas excised 15 and 20 Mar: a check on 15 Sep falls into the window of 20 Sep (6 Sep to 4 Oct)."""
    scene.melanoma(date(2026, 3, 20), patient=scene.due_check().patient)
    scene.due_check()
    assert melanoma_checks(forecast())[date(2026, 9, 14)] == 2, "two patients, of whom one has two melanomas"


def test_whoever_does_not_come_is_wanted_again_the_week_after():
    """One visit and 25 of a hundred missed: 1, 1/4, 1/16 ... together 4/3, the mean of a geometric series."""
    scene.due_check()
    weeks = forecast(missed=0.25).weeks
    assert [round(week.load, 4) for week in weeks[:4]] == [1, 0.25, 0.0625, 0.0156]
    assert sum(week.load for week in weeks[:13]) == pytest.approx(4 / 3, abs=1e-6)
    assert [week.visits for week in weeks[:2]] == [1, 0]


def test_places_are_the_free_slots_of_their_own_length():
    """Nine to eleven in twenty minutes: six; one is booked, a closed day has none, past hours are past."""
    room = scene.hours(day=scene.TODAY + timedelta(1), opens=time(9), closes=time(11))
    scene.hours(day=scene.TODAY + timedelta(2), opens=time(9), closes=time(11))
    bookable.close_day(day=scene.TODAY + timedelta(2), reason="holiday", by=build.nurse())
    scene.hours(day=scene.TODAY, opens=time(9), closes=time(10))  # it is noon
    starts = scene.at(8, day=scene.TODAY + timedelta(1))  # nine o'clock in Dublin
    booking.book(recalls=[scene.due_check()], resource=room, starts_at=starts, by=build.nurse())
    found = forecast()
    assert (found.weeks[0].places, found.weeks[0].booked) == (5, 1)
    assert found.weeks[0].wanted["B"] == 0, "booked, so it asks for no place any more"
    assert found.weeks[1].places is None


def test_a_week_with_more_visits_than_places_is_over():
    scene.due_check(), scene.due_check()
    scene.hours(day=scene.TODAY + timedelta(1), opens=time(9), closes=time(9, 20))
    found = forecast()
    assert [(week.monday, week.visits, week.places) for week in found.over] == [(MONDAY, 2, 1)]
    ((first, last, _),) = found.unopened
    assert (first.monday, last.monday) == (MONDAY + timedelta(weeks=1), MONDAY + timedelta(weeks=51))


def test_a_week_with_just_enough_places_is_not_over():
    scene.due_check()
    scene.hours(day=scene.TODAY + timedelta(1), opens=time(9), closes=time(9, 20))
    found = forecast()
    assert (found.weeks[0].visits, found.weeks[0].places, found.over) == (1, 1, [])


def test_of_those_booked_some_do_not_come_either():
    """One booked visit and 25 of a hundred missed: a quarter of a visit the week after."""
    scene.booked(scene.due_check())
    first, second = forecast(missed=0.25).weeks[:2]
    assert (first.load, first.booked, second.load) == (0, 1, 0.25)


def test_ten_minute_slots_are_ten_minute_places():
    """Nine to ten in steps of ten minutes: six places, not the five starts of twenty-minute visits."""
    room, tomorrow = Resource.objects.create(name="Short visits"), scene.TODAY + timedelta(1)
    hours = {"opens": time(9), "closes": time(10), "slot_minutes": 10}
    bookable.open_session(resource=room, day=tomorrow, by=build.manager(), **hours)
    assert places.count_by_day(since=scene.TODAY, until=tomorrow) == {tomorrow: 6}


def test_people_whose_care_has_ended_want_nothing():
    scene.ended()
    assert wanted(forecast()) == {}


def test_the_clinics_own_rate_counts_missed_among_ended_visits():
    """Did not attend ÷ (attended + did not attend), cancelled ones left out: docs/sources.md, "Reaching people"."""
    assert capacity.own_rate(scene.TODAY) == (0, 0)
    for state in ("attended", "attended", "missed", "cancelled_by_patient", "cancelled_by_clinic"):
        row = scene.booked(scene.due_check())
        Appointment.objects.filter(pk=row.pk).update(state=state, starts_at=clock.now() - timedelta(days=30))
    assert capacity.own_rate(scene.TODAY) == (pytest.approx(1 / 3), 3)


@pytest.fixture
def manager(client):
    client.force_login(build.manager(), backend="clinic.project.backends.ClinicBackend")
    return client


URL = "/capacity/"


def test_the_page_names_the_weeks_without_room_before_the_picture(manager):
    scene.due_check(), scene.due_check()
    scene.hours(day=scene.TODAY + timedelta(1), opens=time(9), closes=time(9, 20))
    page = read(manager.get(URL))
    assert "One week wants more visits than there are places" in page
    (week,) = [one for one in page.find_all("listitem") if "week of 15 Jun 2026" in one.links()]
    assert [one.text for one in week.walk()] == ["week of 15 Jun 2026", "2 visits wanted, 1 place"]
    parts = list(page.walk())
    assert parts.index(week) < min(parts.index(one) for one in page.find_all("img"))
    assert "BMC Health Services Research 2020" in page and reverse("scheduling:capacity") == URL


def test_good_news_does_not_stand_above_visits_without_open_hours(manager):
    scene.due_check()
    scene.hours(day=scene.TODAY + timedelta(1))
    page = read(manager.get(URL))
    assert "No week with open hours wants more visits" not in page
    assert sum(visits for _first, _last, visits in forecast().unopened) > 0
    assert "visits are wanted in weeks in which no hours are open yet" in page


def test_the_rate_is_chosen_on_the_page_and_named_with_its_source(manager):
    page = read(manager.get(URL, {"missed": "5.7"}))
    assert "Reckoned with 5.7 of a hundred: out-patient appointments in England" in page
    assert "Reckoned with 12 of a hundred: chosen on this page, no source" in (
        read(manager.get(URL, {"missed": "12"}))
    )


def test_the_clinics_own_rate_is_offered_once_it_rests_on_enough_visits(manager, monkeypatch):
    monkeypatch.setattr("scheduling.views.capacity.own_rate", lambda today: (0.06, 49))
    assert "this clinic" not in read(manager.get(URL))
    monkeypatch.setattr("scheduling.views.capacity.own_rate", lambda today: (0.06, 50))
    page = read(manager.get(URL))
    assert page.link("6 of a hundred")
    assert "6 of a hundred: this clinic in the last twelve months, of 50 visits" in page


@pytest.mark.parametrize("words", ["many", "-1", "61", "", "nan"])
def test_a_rate_that_is_none_is_refused_and_stays_in_the_form(manager, words):
    answer = manager.get(URL, {"missed": words})
    page = read(answer)
    assert answer.status_code == 422 and page.find_all("alert") and "Reckoned with 8.2" in page
    assert page.offered("missed") == [words]


def test_the_managers_page_and_the_diary_lead_there(manager):
    for name in ("missed", "diary"):
        assert read(manager.get(reverse(f"scheduling:{name}"))).leads_to(URL)


def test_three_patients_ask_no_more_questions_than_one(manager):
    def counted():
        with CaptureQueriesContext(connection) as found:
            assert manager.get(URL).status_code == 200
        return len(found)

    scene.due_check()
    counted()
    one = counted()
    scene.due_check(), scene.overdue_check()
    tally.keep()  # as the request does that writes them
    assert counted() == one <= 20


# -- a large clinic: counted in the background ------------------------------------------------------


@pytest.fixture
def large(monkeypatch):
    """As if even one record were too many for a page."""
    monkeypatch.setattr(background, "AT_ONCE", 0)


def test_the_page_of_a_large_clinic_waits_then_says_when_it_was_counted(manager, large):
    scene.due_check()
    waits = read(manager.get(URL))
    assert "is being counted" in waits and waits.loads_again and "not begun yet" in waits
    jobs.work_once("test")
    ready = read(manager.get(URL))
    assert "Visits counted" in ready and not ready.loads_again
    assert YearRun.objects.count() == 1


def test_what_was_kept_is_what_would_be_counted_now(large):
    scene.due_check(), scene.overdue_check()
    forecast_jobs.every_morning(scene.TODAY)
    (key,) = forecast_jobs.waiting()
    forecast_jobs.work(key), forecast_jobs.work(key)
    kept, run = forecast_jobs.find_forecast(scene.TODAY)
    assert kept == capacity.count_wanted(scene.TODAY, rules_in_force()[1]) and run.made_at == clock.now()


def test_facts_that_moved_are_counted_when_somebody_asks_for_it(manager, large):
    recall = scene.due_check()
    forecast_jobs.find_forecast(scene.TODAY), jobs.work_once("test")
    scene.came(recall.patient, scene.TODAY), scene.check_of(recall.patient)
    before, _ = forecast_jobs.find_forecast(scene.TODAY)
    assert before.weeks[0]["B"] == 1
    manager.post(reverse("scheduling:count_anew"))
    assert forecast_jobs.find_forecast(scene.TODAY)[0] == before and len(forecast_jobs.waiting()) == 1
    assert "being counted anew" in read(manager.get(URL))
    jobs.work_once("test")
    assert forecast_jobs.find_forecast(scene.TODAY)[0].weeks[0]["B"] == 0


def test_another_day_or_another_set_is_counted_for_itself(large):
    scene.due_check()
    forecast_jobs.find_forecast(scene.TODAY), jobs.work_once("test")
    build.rules_in_force()
    assert forecast_jobs.find_forecast(scene.TODAY)[0] is None
    with scene.later(days=1):
        forecast_jobs.every_morning(clock.today())
        assert set(YearRun.objects.values_list("day", flat=True)) == {clock.today()}


def test_a_small_clinic_keeps_nothing(manager):
    scene.due_check()
    forecast_jobs.every_morning(scene.TODAY), forecast_jobs.ask_anew(scene.TODAY)
    assert "Visits counted" not in read(manager.get(URL))
    assert not YearRun.objects.exists()
