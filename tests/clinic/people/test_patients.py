"""Registering people and ways to reach them, each change once and on record. Common practice, no source."""

from datetime import date

import pytest

from clinic.models import AuditRecord, Patient, StaleRow
from clinic.people import ending, patients
from tests import build

pytestmark = pytest.mark.django_db


def test_a_number_follows_from_the_row():
    someone = build.patient()
    assert someone.number == f"QD-{someone.pk:05d}"


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
