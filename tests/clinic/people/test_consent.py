"""Consent to photographs for care: dated, refused or withdrawn as freely as given, every answer kept.

That a consent is asked for, dated, and can be withdrawn: common practice, no source (local law governs).
"""

from datetime import date

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from clinic.models import AuditRecord, Patient, PhotoConsent
from clinic.people import consent, patients
from clinic.trail.record_days import WrongDay
from lesions.pictures.intake import PictureRefused
from tests import build
from tests.lesions import scene
from tests.page import read

pytestmark = pytest.mark.django_db


def test_nobody_asked_is_no_answer():
    assert consent.current(build.patient()) is None


def test_each_answer_is_kept_with_its_day_and_the_last_one_counts():
    someone, by = build.patient(), build.nurse()
    consent.record(patient=someone, by=by, given=True, on=build.days_ago(30))
    consent.record(patient=someone, by=by, given=False, on=build.days_ago(3), words="told the nurse")
    said = consent.current(someone)
    assert (said.given, said.on, said.words, said.by) == (False, build.days_ago(3), "told the nurse", by)
    assert someone.photo_consents.count() == 2
    assert AuditRecord.objects.filter(patient=someone, action="patient.photo_consent").count() == 2


def test_what_was_true_on_a_day_is_what_was_said_until_then():
    someone, by = build.patient(), build.nurse()
    consent.record(patient=someone, by=by, given=False, on=build.days_ago(30))
    consent.record(patient=someone, by=by, given=True, on=build.days_ago(3))
    assert [consent.refused_on(someone, build.days_ago(ago)) for ago in (31, 30, 4, 3, 0)] == [
        False, True, True, False, False,
    ]  # fmt: skip


def test_an_answer_is_never_changed_or_deleted():
    consent.record(patient=build.patient(), by=build.nurse(), given=True, on=build.days_ago(0))
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        PhotoConsent.objects.update(given=False)


def test_an_answer_has_a_day_of_the_patients_life():
    someone, by = build.patient(), build.nurse()
    for wrong in (build.days_ago(-1), date(1959, 1, 1)):
        with pytest.raises(WrongDay):
            consent.record(patient=someone, by=by, given=True, on=wrong)


def test_registering_and_its_consent_stand_or_fall_together():
    with pytest.raises(WrongDay):
        build.patient(photographs=True, photographs_on=build.days_ago(-1))
    assert not Patient.objects.exists()


def test_registration_writes_the_answer_by_the_same_road(monkeypatch):
    roads = []
    monkeypatch.setattr(patients.consent, "record", lambda **said: roads.append(said))
    someone = build.patient(photographs=True, photographs_on=build.days_ago(2))
    assert [(said["patient"], said["given"], said["on"]) for said in roads] == [
        (someone, True, build.days_ago(2))
    ]


def test_who_does_not_agree_is_not_photographed():
    lesion = scene.lesion()
    consent.record(patient=lesion.patient, by=build.nurse(), given=False, on=build.days_ago(5))
    with pytest.raises(PictureRefused, match="does not agree to photographs"):
        scene.file(lesion, taken_on=build.days_ago(4))
    # Taken before: the picture was agreed to, or nobody had asked yet.
    assert scene.file(lesion, taken_on=build.days_ago(6)).pk


def test_where_pictures_are_filed_the_page_says_that_none_may_be_taken(client):
    lesion = scene.lesion()
    client.force_login(build.nurse())
    page = reverse("lesions:lesion", args=[lesion.pk])
    assert "does not agree" not in read(client.get(page))
    consent.record(patient=lesion.patient, by=build.nurse(), given=False, on=build.days_ago(0))
    assert "does not agree to photographs" in read(client.get(page))


def test_a_picture_is_filed_where_nobody_was_asked_or_somebody_agreed():
    lesion = scene.lesion()
    assert scene.file(lesion).pk
    consent.record(patient=lesion.patient, by=build.nurse(), given=True, on=build.days_ago(0))
    assert scene.file(lesion, scene.jpeg(seed=8)).pk


def test_the_page_says_what_was_answered_and_takes_another_answer(client):
    someone, by = build.patient(), build.nurse(name="N. Bell")
    client.force_login(by)
    page = reverse("clinic:patient", args=[someone.pk])
    assert "Photographs for care: not asked yet" in read(client.get(page))
    door, on = reverse("clinic:photo_consent", args=[someone.pk]), build.days_ago(0).isoformat()
    assert "agrees since" in read(client.post(door, {"given": "yes", "on": on}, follow=True))
    shown = read(client.post(door, {"given": "no", "on": on, "words": "by telephone"}, follow=True))
    assert "does not agree" in shown and "N. Bell" in shown and "by telephone" in shown
    assert "no photographs" in shown


def test_an_answer_without_an_answer_is_asked_again(client):
    someone = build.patient()
    client.force_login(build.nurse())
    answer = client.post(reverse("clinic:photo_consent", args=[someone.pk]), {"on": "2020-01-01"})
    assert answer.status_code == 422 and not PhotoConsent.objects.exists()
