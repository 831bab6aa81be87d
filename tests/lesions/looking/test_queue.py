"""The order of the list, which item follows which, and that nothing leaves it without a decision.

The order is a clinic setting, no source: urgent signs, changes beyond a limit, what is past its day, what the figures could
not judge, other reasons by tier, first pictures last.
"""

from datetime import timedelta

import pytest
from django.urls import reverse

from clinic import clock
from lesions.looking import queue
from lesions.models import Flag, Review
from lesions.register import register
from lesions.review import signoff
from tests import build
from tests.lesions import scene
from tests.lesions.review.test_signoff import look
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def doctor():
    build.flags_in_force()
    return build.dermatologist()


def waits(days_ago, *codes, opened_days_ago=0, tier=None):
    review = scene.measured(scene.lesion(), days_ago=days_ago)
    review.flags.all().delete()
    Flag.objects.bulk_create(Flag(review=review, code=code, params={"sentence": code}) for code in codes)
    opened = clock.now() - timedelta(days=opened_days_ago)
    Review.objects.filter(pk=review.pk).update(opened_at=opened, flagged=bool(codes))
    return Review.objects.get(pk=review.pk)


def test_the_order_of_worth(doctor):
    first = waits(1, "nothing_to_compare")
    other = waits(2, "second_reading")
    doubtful = waits(3, "doubtful", "nothing_to_compare")
    late = waits(4, "nothing_to_compare", opened_days_ago=20)
    grown = waits(5, "area_growth")
    urgent = waits(6, "nothing_to_compare")
    register.note_sign(lesion=urgent.lesion, by=doctor, sign="bleeding", noted_on=clock.today())
    assert [row.pk for row in queue.decisions_of(doctor)] == [
        row.pk for row in (urgent, grown, late, doubtful, other, first)
    ]


def test_of_two_alike_the_higher_tier_comes_first(doctor):
    build.tiers_in_force()
    plain, risky = waits(1, "diameter"), waits(2, "diameter")
    build.risk_assessment(risky.lesion.patient, by=doctor, on=build.days_ago(3), past_melanoma=True)
    assert [row.pk for row in queue.decisions_of(doctor)] == [risky.pk, plain.pk]


def test_each_item_is_followed_by_the_next_and_the_last_by_the_first(doctor):
    rows = [waits(number, "diameter", opened_days_ago=9 - number) for number in (1, 2, 3)]
    ordered = list(queue.decisions_of(doctor))
    places = [queue.place_of(row, queue.decisions_of(doctor)) for row in ordered]
    assert [place.following for place in places] == [ordered[1].pk, ordered[2].pk, ordered[0].pk]
    assert {place.others for place in places} == {len(rows) - 1}


def test_the_only_item_is_followed_by_nothing_a_signed_one_by_the_first(doctor):
    only = waits(1, "diameter")
    assert queue.place_of(only, queue.decisions_of(doctor)) == queue.Place(0, None)
    look(only, doctor)
    signoff.record(review_id=only.pk, by=doctor, decision="excise", revision=only.revision)
    assert queue.place_of(only, queue.decisions_of(doctor)) == queue.Place(0, None)
    following = waits(2, "diameter")
    assert queue.place_of(only, queue.decisions_of(doctor)) == queue.Place(1, following.pk)


def test_what_goes_in_comes_out_or_is_left(doctor):
    rows = [waits(number, "diameter") for number in (1, 2, 3)]
    look(rows[1], doctor)
    signoff.record(review_id=rows[1].pk, by=doctor, decision="excise", revision=rows[1].revision)
    left = {row.pk for row in queue.decisions_of(doctor)}
    assert len(rows) == len(left) + Review.objects.filter(state="signed").count() and rows[1].pk not in left


def test_an_unflagged_lesion_that_the_lot_drew_stands_among_the_flagged(doctor, settings):
    settings.MIXED_IN_PERCENT = 100
    plain = waits(1)
    drawn = Review.objects.get(pk=plain.pk)
    assert drawn.look_first
    Review.objects.filter(pk=plain.pk).update(mixed_rank=2)
    assert [row.pk for row in queue.decisions_of(doctor)] == [plain.pk]
    assert not queue.unflagged().exists()  # there somebody could look it up


def test_one_number_stands_in_the_masthead_and_over_the_list(doctor, client):
    """Flagged, mixed in, asked of another, inside every limit: each waits in one list, and every count agrees."""
    plain, drawn, grown, asked = waits(1), waits(2), waits(3, "diameter"), waits(4, "diameter")
    Review.objects.filter(pk=drawn.pk).update(mixed_rank=2)
    build.dermatologist()
    look(asked, doctor)
    signoff.record(review_id=asked.pk, by=doctor, decision="second_reading", revision=asked.revision)
    client.force_login(doctor)
    answers = [client.get(reverse(f"lesions:{name}")) for name in ("decisions", "unflagged")]
    shown = answers[0].context
    masthead = next(place.count for place in shown["places"] if place.url == reverse("lesions:decisions"))
    assert (masthead, shown["page"].paginator.count, shown["left"]) == (3, 2, 3)
    assert "2 lesions to decide on · one for another’s reading." in read(answers[0])
    assert shown["others"] == answers[1].context["page"].paginator.count == 1
    door = reverse("lesions:decision", args=[plain.pk], query={"list": "unflagged"})
    assert [row["look"] for row in answers[1].context["rows"]] == [door] and grown


def test_whoever_asked_for_a_second_reading_does_not_get_it(doctor):
    review, other = waits(1, "diameter"), build.dermatologist()
    look(review, doctor)
    signoff.record(review_id=review.pk, by=doctor, decision="second_reading", revision=review.revision)
    again = Review.objects.get(lesion=review.lesion, state="waiting")
    assert [row.pk for row in queue.decisions_of(other)] == [again.pk]
    assert not queue.decisions_of(doctor).exists()
