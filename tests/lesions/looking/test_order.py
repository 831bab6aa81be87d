"""The kept order of Decisions is the order of the list, for each member. Our own rule, no source.

The order itself: `test_queue.py`.
"""

import pytest

from clinic import clock
from clinic.models import Policy
from clinic.tally import kept_answers, tally, tally_marks
from clinic.tally.tally import Kept
from lesions.looking import order, queue
from lesions.models import Flag, Review
from lesions.register import register
from lesions.review import signoff
from tests import build
from tests.lesions.looking.test_queue import doctor, waits  # noqa: F401 doctor is a fixture
from tests.lesions.review.test_signoff import look

pytestmark = pytest.mark.django_db


def kept() -> order.Order:
    return kept_answers.give("decisions", tally.standing())


def ranked(rows):
    return [(row.pk, row.rank) for row in rows]


def is_the_list_of(*members):
    assert ranked(queue.unflagged()) == list(kept().unflagged)
    for member in members:
        assert ranked(queue.decisions_of(member)) == list(kept().left_to(member))


@pytest.fixture
def mixed(doctor):  # noqa: F811 the fixture
    """Something of every rank, one that the lot mixed in, and two inside every limit."""
    build.tiers_in_force()
    rows = [
        waits(1, "nothing_to_compare"),
        waits(2, "diameter"),
        waits(3, "doubtful"),
        waits(4, "area_growth"),
    ]
    rows += [waits(5, "nothing_to_compare", opened_days_ago=20), waits(6, "diameter"), waits(7), waits(8)]
    build.risk_assessment(rows[5].lesion.patient, by=doctor, on=build.days_ago(3), past_melanoma=True)
    urgent, drawn = waits(9, "nothing_to_compare"), waits(10)
    register.note_sign(lesion=urgent.lesion, by=doctor, sign="bleeding", noted_on=clock.today())
    Review.objects.filter(pk=drawn.pk).update(mixed_rank=queue.CHANGED)
    return rows


def test_the_kept_order_is_the_order_of_the_list(mixed, doctor):  # noqa: F811 the fixture
    is_the_list_of(doctor, build.dermatologist())
    assert (len(kept().flagged), len(kept().unflagged)) == (8, 2)
    assert {rank for _pk, rank in kept().flagged} == set(range(6))


def test_what_another_is_to_read_is_left_out_of_one_list_only(mixed, doctor):  # noqa: F811 the fixture
    review, other = mixed[1], build.dermatologist()
    look(review, doctor)
    signoff.record(review_id=review.pk, by=doctor, decision="second_reading", revision=review.revision)
    is_the_list_of(doctor, other)
    assert len(kept().left_to(doctor)) + 1 == len(kept().left_to(other)) == 8


def test_while_nothing_is_written_nothing_is_ranked_again(mixed, django_assert_num_queries):
    kept()
    numbers = tally.kept()
    assert numbers.holds
    with django_assert_num_queries(0):
        kept_answers.give("decisions", numbers)


@pytest.mark.parametrize("change", ["flag", "limits", "tier"])
def test_after_each_write_that_moves_a_row_it_is_ranked_again(change, mixed, doctor):  # noqa: F811 the fixture
    before = kept()
    if change == "flag":
        Flag.objects.filter(review=mixed[2]).update(code="area_growth")
    elif change == "tier":
        build.risk_assessment(mixed[1].lesion.patient, by=doctor, on=build.days_ago(2), past_melanoma=True)
        build.risk_assessment(mixed[5].lesion.patient, by=doctor, on=build.days_ago(1))
    else:
        Policy.objects.filter(kind="flags").delete()
    assert kept().flagged != before.flagged
    is_the_list_of(doctor)


def test_every_table_that_the_ranks_read_is_marked(mixed):
    asked = str(queue.waiting().query) + str(Policy.objects.all().query)
    read = {
        word
        for word in asked.replace(".", " ").replace('"', " ").split()
        if word.startswith(("lesions_", "clinic_"))
    }
    assert len(read) == 5 and read <= tally_marks.tables()


def test_beside_numbers_that_do_not_hold_it_is_ranked_anew(mixed):
    found = tally.standing()
    overtaken = Kept(found.numbers, found.revision, holds=False)
    first = kept_answers.give("decisions", overtaken)
    assert first == kept() and first is not kept_answers.give("decisions", overtaken)
