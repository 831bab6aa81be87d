from datetime import date

import pytest

from clinic.models import AuditRecord, Patient, StaleRow
from clinic.people import ending, patients
from tests import build

pytestmark = pytest.mark.django_db


def test_a_number_is_given_and_found_again():
    someone = build.patient(given_name="Orla", family_name="Fenwick-Ash")
    assert someone.number == f"QD-{someone.pk:05d}"
    assert list(patients.search(someone.number)) == [someone]
    assert list(patients.search("fenwick orla")) == [someone]


@pytest.mark.parametrize("words", ["1949-09-30", "30.9.1949", "30/09/1949", "Pell 30.9.1949"])
def test_a_date_of_birth_finds_its_bearer(words):
    someone = build.patient(family_name="Pell", born=date(1949, 9, 30))
    build.patient(family_name="Pell", born=date(1950, 9, 30))
    assert list(patients.search(words)) == [someone]


def test_a_day_that_does_not_exist_is_only_a_word():
    build.patient()
    assert list(patients.search("31.2.1949")) == []


def test_two_people_of_one_name_tell_themselves_apart():
    one = build.patient(given_name="Bram", family_name="Tolliver", born=date(1971, 7, 19))
    other = build.patient(given_name="bram", family_name="tolliver", born=date(1980, 1, 2))
    alone = build.patient(given_name="Bram", family_name="Sedge")
    assert patients.shared_names([one, alone]) == {one.pk, other.pk}
    assert list(patients.namesakes(one)) == [other]


def test_registering_and_its_audit_record_stand_or_fall_together(monkeypatch):
    def refuse(*args, **kwargs):
        raise RuntimeError("no audit record")

    by = build.nurse()
    monkeypatch.setattr(patients.audit, "record", refuse)
    with pytest.raises(RuntimeError):
        patients.register(by=by, family_name="Nobody", born=date(1990, 1, 1))
    assert not Patient.objects.exists()


def test_a_stale_form_is_refused_and_overwrites_nothing():
    someone, by = build.patient(given_name="Ada"), build.nurse()
    stale = Patient.objects.get(pk=someone.pk)
    patients.amend(patient=someone, by=by, revision=1, given_name="Adah")
    with pytest.raises(StaleRow):
        patients.amend(patient=stale, by=by, revision=1, given_name="Eda")
    assert Patient.objects.get(pk=someone.pk).given_name == "Adah"


def test_only_a_moved_birth_date_changes_facts():
    someone, by = build.patient(), build.nurse()
    before = someone.facts_revision
    patients.amend(patient=someone, by=by, revision=1, given_name="New")
    assert Patient.objects.get(pk=someone.pk).facts_revision == before
    patients.amend(patient=someone, by=by, revision=2, born=date(1961, 1, 1))
    assert Patient.objects.get(pk=someone.pk).facts_revision == before + 1


def test_care_ends_with_a_ground_and_can_be_resumed():
    someone, by = build.patient(), build.dermatologist()
    with pytest.raises(patients.PatientRefused):
        ending.end_care(
            patient=someone, by=by, revision=1, status="deceased", on=date(2026, 1, 2), ground=" "
        )
    ending.end_care(
        patient=someone, by=by, revision=1, status="deceased", on=date(2026, 1, 2), ground="family called"
    )
    assert someone.status == "deceased"
    ending.resume_care(patient=someone, by=by, revision=2)
    assert (someone.status, someone.status_on) == ("active", None)
    assert list(AuditRecord.objects.filter(patient=someone).values_list("action", flat=True)[:2]) == [
        "patient.resume_care",
        "patient.end_care",
    ]


def test_a_route_stands_once_and_a_dead_one_stays_on_record():
    someone, by = build.patient(phone="000 111"), build.nurse()
    with pytest.raises(patients.PatientRefused):
        patients.add_route(patient=someone, by=by, kind="phone", value="000 111")
    route = someone.routes.get()
    patients.kill_route(route=route, by=by, on=date(2026, 3, 4))
    patients.kill_route(route=route, by=by, on=date(2026, 5, 6))
    assert someone.routes.get().dead_since == date(2026, 3, 4)
