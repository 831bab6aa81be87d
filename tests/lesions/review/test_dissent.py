"""Two at once and a second reading: what one has said is not in the other's sight, and no disagreement is lost.

That a third reads, or the stricter stands: common practice, no source.
"""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from clinic import clock
from clinic.models import Member
from lesions.looking import queue
from lesions.models import Dissent, Image, Lesion, Review, SignOff
from lesions.review import dissent, signoff
from lesions.review.signoff import SignOffRefused
from tests import build
from tests.lesions import scene
from tests.lesions.review.test_signoff import look
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def doctors():
    build.flags_in_force()
    Member.objects.update(is_active=False)  # whoever brought the limits into force reads here no more
    return build.dermatologist(), build.dermatologist()


@pytest.fixture
def review(doctors):
    found = scene.measured(scene.lesion(monitoring="long"))
    for doctor in doctors:
        look(found, doctor)
    return found


def sign(review, by, decision, **more):
    return signoff.record(review_id=review.pk, by=by, decision=decision, revision=review.revision, **more)


def waiting(lesion):
    return Review.objects.get(lesion=lesion, state="waiting")


def test_without_a_third_reader_the_stricter_decision_stands_and_is_done(doctors, review):
    first, second = doctors
    signed = sign(review, first, "reassure")
    row = dissent.record(signed=signed, by=second, decision="biopsy", note="uneven network")
    assert row.stands.decision == "biopsy" and row.stands.by == second
    assert Lesion.objects.get(pk=review.lesion_id).state == "biopsy_decided"


def test_without_a_third_reader_a_milder_dissent_is_kept_alone(doctors, review):
    signed = sign(review, doctors[0], "excise")
    row = dissent.record(signed=signed, by=doctors[1], decision="reassure")
    assert row.stands is None and SignOff.objects.count() == 1
    assert Lesion.objects.get(pk=review.lesion_id).state == "biopsy_decided"


def test_a_sooner_look_is_the_stricter(doctors, review):
    signed = sign(review, doctors[0], "look_again", months=12, all_the_same=True)
    assert dissent.record(signed=signed, by=doctors[1], decision="look_again", months=3).stands.months == 3


def test_a_third_reader_gets_it_and_neither_of_the_two(doctors, review):
    third, (first, second) = build.dermatologist(), doctors
    signed = sign(review, first, "reassure")
    dissent.record(signed=signed, by=second, decision="biopsy")
    again = waiting(review.lesion)
    assert [row.pk for row in queue.decisions_of(third)] == [again.pk]
    assert not queue.decisions_of(first).exists() and not queue.decisions_of(second).exists()
    for doctor in doctors:
        look(again, doctor)
        with pytest.raises(SignOffRefused):
            sign(again, doctor, "excise")
    look(again, third)
    assert sign(again, third, "biopsy").by == third


def test_one_dissents_once_and_never_from_oneself(doctors, review):
    signed = sign(review, doctors[0], "reassure")
    with pytest.raises(SignOffRefused, match="your own decision"):
        dissent.record(signed=signed, by=doctors[0], decision="biopsy")
    dissent.record(signed=signed, by=doctors[1], decision="biopsy")
    with pytest.raises(SignOffRefused, match="already"):
        dissent.record(signed=signed, by=doctors[1], decision="excise")
    assert Dissent.objects.count() == 1


def test_an_unanswered_second_reading_returns_to_whoever_asked(doctors, review):
    first, second = doctors
    sign(review, first, "second_reading")
    asked = waiting(review.lesion)
    assert not queue.decisions_of(first).exists() and queue.decisions_of(second).exists()
    with clock.at(clock.now() + timedelta(days=20)):
        assert [row.pk for row in queue.decisions_of(first)] == [asked.pk]
        look(asked, first)
        assert sign(asked, first, "biopsy").by == first


def test_a_new_picture_does_not_put_the_return_of_a_second_reading_off(doctors, review):
    first, _ = doctors
    sign(review, first, "second_reading")
    with clock.at(clock.now() + timedelta(days=6)):
        again = scene.measured(review.lesion, scene.jpeg(77), days_ago=0)
    assert again.asked_by == first and not queue.decisions_of(first).exists()
    with clock.at(clock.now() + timedelta(days=9)):
        assert [row.pk for row in queue.decisions_of(first)] == [again.pk]


def test_the_second_reader_finds_no_word_of_the_first_before_signing(doctors, review):
    """Neither on the sheet nor on the lesion's page, whatever picture comes; whoever cannot sign may read it."""
    first, second = doctors
    sign(review, first, "second_reading", note="a seborrhoeic look")
    scene.measured(review.lesion, scene.jpeg(78))
    places = [reverse("lesions:sheet", args=[waiting(review.lesion).pk, "history"])]
    places.append(reverse("lesions:lesion", args=[review.lesion_id]))
    for member, may_read in ((second, False), (first, True), (build.nurse(), True)):
        page = build.signed_in(member)
        assert ["seborrhoeic" in read(page.get(place)) for place in places] == [may_read, may_read]
    again = waiting(review.lesion)
    look(again, second)
    sign(again, second, "biopsy")
    assert all("seborrhoeic" in read(build.signed_in(second).get(place)) for place in places)


def test_an_urgent_second_reading_returns_at_the_limit_of_the_urgent(doctors, review):
    """Two working days as shipped, where the others have five: never more than four days on the calendar."""
    first, _ = doctors
    sign(review, first, "second_reading")
    type(review).objects.filter(lesion=review.lesion, state="waiting").update(urgent=True)
    assert not queue.decisions_of(first).exists()
    with clock.at(clock.now() + timedelta(days=5)):
        assert queue.decisions_of(first).exists()


def leaves(member):
    Member.objects.filter(pk=member.pk).update(is_active=False)


def test_where_nobody_else_reads_whoever_asked_for_a_second_reading_has_it(doctors, review):
    first, second = doctors
    leaves(second)
    sign(review, first, "second_reading")
    asked = waiting(review.lesion)
    assert [row.pk for row in queue.decisions_of(first)] == [asked.pk]
    look(asked, first)
    assert sign(asked, first, "biopsy").by == first


def test_when_the_third_reader_has_left_the_two_read_again(doctors, review):
    third, (first, second) = build.dermatologist(), doctors
    dissent.record(signed=sign(review, first, "reassure"), by=second, decision="biopsy")
    leaves(third)
    again = waiting(review.lesion)
    for doctor in doctors:
        assert [row.pk for row in queue.decisions_of(doctor)] == [again.pk]
    look(again, second)
    assert sign(again, second, "biopsy").by == second


def test_a_dissent_is_read_on_the_newest_picture(doctors, review):
    third, (first, second) = build.dermatologist(), doctors
    signed = sign(review, first, "reassure")
    newest = scene.measured(review.lesion, scene.jpeg(seed=90))  # comes while the second still writes
    assert scene.measured(review.lesion, days_ago=30) is None  # an older picture that was filed late
    dissent.record(signed=signed, by=second, decision="biopsy")
    again = waiting(review.lesion)
    assert again.assessment.image == newest.assessment.image
    assert [row.pk for row in queue.decisions_of(third)] == [again.pk]


def test_a_dissent_that_no_picture_can_carry_is_refused_with_a_sentence(doctors, review):
    build.dermatologist()
    first, second = doctors
    signed = sign(review, first, "reassure")
    Image.objects.update(set_aside=True)
    with pytest.raises(SignOffRefused, match="decide in person"):
        dissent.record(signed=signed, by=second, decision="biopsy")
    assert not Dissent.objects.exists() and not queue.waiting().exists()


def test_the_conflict_page_offers_a_dissent_and_hides_the_first_reader(doctors, review):
    build.dermatologist()
    first, second = doctors
    client = Client()
    client.force_login(second)
    sign(review, first, "reassure", note="a seborrhoeic look")
    answer = client.post(
        reverse("lesions:decision", args=[review.pk]),
        {"decision": "biopsy", "revision": review.revision, "note": "uneven"},
    )
    page = read(answer)
    assert answer.status_code == 409 and page.button("Dissent: Biopsy")
    posted = {"decision": "biopsy", "months": "", "note": "uneven"}
    client.post(reverse("lesions:dissent", args=[SignOff.objects.get().pk]), posted)
    third = Client()
    third.force_login(build.dermatologist())
    shown = read(third.get(reverse("lesions:sheet", args=[waiting(review.lesion).pk, "history"])))
    assert "seborrhoeic" not in shown and "uneven" not in shown


def test_while_the_only_other_is_away_whoever_asked_reads_it(doctors, review):
    first, second = doctors
    sign(review, first, "second_reading")
    assert not queue.decisions_of(first).exists()
    build.away(second)
    assert queue.decisions_of(first).exists()


def test_a_deputy_of_whoever_is_away_has_the_second_reading_and_signs(doctors, review):
    """It is addressed to nobody by name but to all who did not ask: a deputy has the same rights, so it is in that list too."""
    first, second = doctors
    deputy = build.dermatologist()
    build.away(second, deputy=deputy)
    sign(review, first, "second_reading")
    asked = waiting(review.lesion)
    assert [row.pk for row in queue.decisions_of(deputy)] == [asked.pk]
    assert not queue.decisions_of(first).exists()
    listed = read(build.signed_in(deputy).get(reverse("lesions:decisions")))
    assert listed.leads_to(reverse("lesions:decision", args=[asked.pk]))
    look(asked, deputy)
    assert sign(asked, deputy, "biopsy").by == deputy


def test_where_the_deputy_is_who_asked_the_second_reading_returns_at_once(doctors, review):
    first, second = doctors
    build.away(second, deputy=first)
    sign(review, first, "second_reading")
    asked = waiting(review.lesion)
    assert [row.pk for row in queue.decisions_of(first)] == [asked.pk]
    look(asked, first)
    assert sign(asked, first, "biopsy").by == first


def test_every_page_says_when_nobody_is_here_who_reads(doctors, review):
    client = Client()
    client.force_login(build.nurse())
    places = [reverse("lesions:decisions"), reverse("scheduling:problems")]
    Review.objects.update(flagged=True)
    assert all("Nobody is here today who signs" not in read(client.get(place)) for place in places)
    for doctor in doctors:
        build.away(doctor)
    assert all("who signs decisions; one lesion waits" in read(client.get(place)) for place in places)
