"""Who may be spoken to, about what, and until when; a minor comes of age.

Contact roles with dates, and that they flip at the age of majority: common practice, no source. The age itself is a
clinic setting, no source.
"""

from datetime import date, timedelta

import pytest

from clinic import clock
from clinic.models import ContactRoute, Duty
from clinic.people import carers, patients
from clinic.people.patients import PatientRefused
from scheduling.counting import duty_count
from scheduling.desk import calls
from scheduling.pages import call_page
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.django_db
# Comes of age two days after the fixed noon.
BORN = date(2008, 6, 19)


@pytest.fixture(autouse=True)
def _noon():
    with clock.at(scene.NOON):
        yield


@pytest.fixture
def minor():
    """A minor who is rung at the mother's number alone."""
    patient = build.patient(born=BORN, phone="01632 960 201")
    mother = care_for(patient)
    ContactRoute.objects.filter(patient=patient).update(carer=mother)
    return patient


def care_for(patient, **more):
    said = {"name": "A Mother", "relation": "mother", "authority": "everything", "valid_from": scene.TODAY}
    return carers.add(patient=patient, by=build.nurse(), **(said | more))


def ways(patient):
    return [row.value for row in calls.ways(type(patient).objects.get(pk=patient.pk))]


@pytest.mark.parametrize(
    ("born", "day"),
    [
        (date(2008, 6, 19), date(2026, 6, 19)),
        # 2026 has no 29 February.
        (date(2008, 2, 29), date(2026, 3, 1)),
    ],
)
def test_the_day_of_majority_is_the_birthday(born, day):
    assert carers.majority(born) == day


def test_the_age_of_majority_is_a_setting(settings):
    settings.AGE_OF_MAJORITY = 21
    assert carers.majority(BORN) == date(2029, 6, 19)


def test_of_a_minor_it_ends_the_day_before_majority(minor):
    assert minor.carers.get().valid_until == date(2026, 6, 18)
    shorter = care_for(minor, valid_until=scene.TODAY)
    assert shorter.valid_until == scene.TODAY and not shorter.of_minor


def test_a_corrected_birth_moves_the_end(minor):
    patients.amend(patient=minor, by=build.nurse(), revision=minor.revision, born=date(2009, 6, 19))
    assert minor.carers.get().valid_until == date(2027, 6, 18)


def test_who_may_be_spoken_to_is_who_holds_today():
    patient = build.patient()
    care_for(patient, name="Now")
    care_for(patient, name="Later", valid_from=scene.TODAY + timedelta(days=1))
    care_for(patient, name="Nothing", authority="nothing")
    care_for(patient, name="Over", valid_from=build.days_ago(9), valid_until=build.days_ago(1))
    assert [row.name for row in carers.in_force(patient)] == ["Now"]


def test_what_ends_before_it_begins_is_refused():
    with pytest.raises(PatientRefused):
        care_for(build.patient(), valid_until=build.days_ago(1))


def test_from_the_birthday_on_the_patient_is_asked(minor):
    assert ways(minor) == ["01632 960 201"]
    with scene.later(days=2):
        assert ways(minor) == []
        assert carers.came_of_age(minor) == date(2026, 6, 19)
        assert carers.find_own_numbers(clock.today()) == 1
        assert carers.find_own_numbers(clock.today()) == 0
        duty = Duty.objects.get(kind="find_a_way", patient=minor)
        assert duty.because == {"code": "now_adult", "name": "A Mother"}
        assert not duty_count.lost_now()
        patients.add_route(patient=minor, by=build.nurse(), kind="phone", value="01632 960 299")
        duty.refresh_from_db()
        assert duty.ended_at and ways(minor) == ["01632 960 299"] and not carers.came_of_age(minor)


def test_an_own_number_is_chosen_and_nothing_is_owed(minor):
    patients.add_route(patient=minor, by=build.nurse(), kind="phone", value="01632 960 202", order=2)
    assert ways(minor) == ["01632 960 201", "01632 960 202"]
    with scene.later(days=2):
        patient = call_page.with_last_call(type(minor).objects.all()).get()
        assert call_page.first_form(patient).initial["way"] == "phone|01632 960 202"
        assert not carers.find_own_numbers(clock.today())


def test_a_carer_who_may_be_told_nothing_is_rung_no_more(minor):
    mother = minor.carers.get()
    carers.end(carer=mother, by=build.nurse(), revision=mother.revision)
    assert ways(minor) == [] and not carers.in_force(minor)
    assert Duty.objects.get(kind="find_a_way").because["code"] == "carer_ended"
    assert not duty_count.lost_now()


def test_the_pages_say_who_may_be_spoken_to_and_who_came_of_age(minor):
    client = build.signed_in(build.nurse())
    record = client.get(f"/patients/{minor.pk}/").content.decode()
    assert "A Mother (mother)" in record and "Of age since" not in record
    with scene.later(days=2):
        record = client.get(f"/patients/{minor.pk}/").content.decode()
        assert "Of age since 19 Jun 2026" in record and "ask for the patient" in record


def test_a_carer_is_added_and_ended_on_the_page(minor):
    client = build.signed_in(build.nurse())
    sent = {"carer-name": "A Guardian", "carer-relation": "guardian", "carer-authority": "appointments",
            "carer-valid_from": "2026-06-17"}  # fmt: skip
    assert client.post(f"/patients/{minor.pk}/carers/", sent).status_code == 302
    row = minor.carers.get(name="A Guardian")
    assert row.of_minor and row.authority == "appointments"
    answer = client.post(f"/patients/{minor.pk}/carers/{row.pk}/end/", {"revision": row.revision})
    row.refresh_from_db()
    assert answer.status_code == 302 and row.authority == "nothing"
