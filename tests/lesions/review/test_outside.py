"""A reader outside the clinic: named, without an account, and signing nothing."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from clinic import clock
from clinic.access import NotAllowed
from clinic.duties import ledger, steps
from clinic.models import AuditRecord, Duty
from clinic.trail.audit import subject_of
from lesions.looking import queue
from lesions.models import OutsideAnswer, OutsideReading, SignOff
from lesions.review import outside, signoff, taking_back
from lesions.review.outside import OutsideRefused
from tests import build
from tests.lesions import scene
from tests.lesions.review.test_signoff import look
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def doctor():
    build.flags_in_force()
    return build.dermatologist(name="D. Doctor")


@pytest.fixture
def review(doctor):
    found = scene.measured(scene.lesion())
    look(found, doctor)
    return found


def asked(review, by):
    return outside.ask(
        review=review, by=by, reader="O. Outside", place="Another clinic", question="Spitzoid?"
    )


def test_asking_and_answering_sign_nothing_and_the_lesion_waits_on(review, doctor):
    row = asked(review, doctor)
    outside.answer(reading=row, by=doctor, said_on=clock.today(), words="I would take it out.")
    assert not SignOff.objects.exists()
    assert [one.pk for one in queue.decisions_of(doctor)] == [review.pk]
    assert set(AuditRecord.objects.filter(action__startswith="outside.").values_list("by", flat=True)) == {
        doctor.pk
    }


def test_who_was_asked_and_what_was_said_stand_beside_the_pictures(review, doctor):
    page = Client()
    page.force_login(doctor)
    where = reverse("lesions:decision", args=[review.pk])
    said = {"reader": "O. Outside", "place": "Another clinic", "question": ""}
    assert page.post(reverse("lesions:ask_outside", args=[review.pk]), said).url == where
    assert "Asked outside: O. Outside, Another clinic" in read(page.get(where))
    assert "No answer yet" in read(page.get(where))
    address = reverse("lesions:answer_outside", args=[OutsideReading.objects.get().pk])
    assert page.post(address, {"said_on": clock.today(), "words": ""}).status_code == 422
    assert page.post(address, {"said_on": clock.today(), "words": "Take it out."}).url == where
    shown = read(page.get(where))
    assert "“Take it out.”" in shown and "entered by D. Doctor" in shown


def test_an_answer_lies_between_the_question_and_today(review, doctor):
    row = asked(review, doctor)
    for day in (build.days_ago(3), build.days_ago(-1)):
        with pytest.raises(OutsideRefused, match="between"):
            outside.answer(reading=row, by=doctor, said_on=day, words="x")
    for words in ("first", "second thoughts"):
        outside.answer(reading=row, by=doctor, said_on=clock.today(), words=words)
    assert [one.words for one in OutsideAnswer.objects.all()] == ["first", "second thoughts"]


def test_it_stands_on_the_page_until_the_decision_then_in_the_history(review, doctor):
    asked(review, doctor)
    signoff.record(review_id=review.pk, by=doctor, decision="second_reading", revision=review.revision)
    assert outside.undecided(review.lesion_id).exists()  # asking a colleague decides nothing
    signoff.decide_in_person(lesion=review.lesion, by=doctor, decision="excise")
    again = review.lesion.reviews.get(state="waiting")
    look(again, other := build.dermatologist())
    signoff.record(review_id=again.pk, by=other, decision="excise", revision=again.revision)
    assert outside.about(review.lesion_id).exists()
    with pytest.raises(OutsideRefused, match="Nothing waits"):
        asked(review.lesion.reviews.get(pk=again.pk), doctor)


def test_only_who_signs_asks_and_enters(review, doctor):
    with pytest.raises(NotAllowed):
        asked(review, build.nurse())
    row = asked(review, doctor)
    with pytest.raises(NotAllowed):
        outside.answer(reading=row, by=build.nurse(), said_on=clock.today(), words="x")


# ---- an answer is owed by a day of its own ----------------------------------------------------------


def owed(review):
    return ledger.open_duties(review.lesion.patient).filter(kind="hear_outside")


def test_an_answer_from_outside_is_owed_by_its_day_and_the_list_names_it(review, doctor):
    """Fourteen days as shipped: a clinic setting, no source."""
    row = asked(review, doctor)
    duty = owed(review).get()
    assert (duty.owner, duty.note, duty.due_on) == (doctor, row.reader, build.days_ago(-14))
    page = Client()
    page.force_login(doctor)
    with clock.at(clock.now() + timedelta(days=15)):
        shown = page.get(reverse("lesions:decisions"))
        assert [one["late"] for one in shown.context["duties"].object_list] == [True]
    assert reverse("lesions:answer_outside", args=[row.pk]) in shown.content.decode()


def test_what_was_said_ends_it_or_that_nothing_will_be(review, doctor):
    row, other = asked(review, doctor), asked(review, doctor)
    answer = outside.answer(reading=row, by=doctor, said_on=clock.today(), words="Take it out.")
    assert Duty.objects.get(opened_from=subject_of(row)).evidence == subject_of(answer)
    duty = owed(review).get(opened_from=subject_of(other))
    said = {"outcome": "no_answer", "words": "moved abroad"}
    steps.settle(duty=duty, by=doctor, revision=duty.revision, **said)
    assert not owed(review).exists()


def test_only_a_decision_ends_it_and_taken_back_it_is_owed(review, doctor):
    asked(review, doctor)
    signoff.record(review_id=review.pk, by=doctor, decision="second_reading", revision=review.revision)
    assert owed(review).exists()
    signed = signoff.decide_in_person(lesion=review.lesion, by=doctor, decision="excise")
    assert not owed(review).exists()
    taking_back.take_back(signed=signed, by=doctor)
    assert owed(review).exists()
