"""A page of a list whose order is kept reads its own rows alone, and none that has left the list. Our own rule, no source."""

import pytest
from django.db import transaction
from django.test import RequestFactory

from clinic.duties import ledger
from clinic.duties.kinds import OwningList, of_list
from clinic.pages import kept_order
from clinic.tally import kept_answers
from tests import build

pytestmark = pytest.mark.django_db
ANSWER = f"duties_of_{OwningList.RESULTS.value}"


def owe(count):
    with transaction.atomic():
        people = [build.patient() for _ in range(count)]
        return [ledger.open_duty("tell", patient=one, opened_from=one, by=None) for one in people]


def owed():
    return ledger.on_list(OwningList.RESULTS)


def page_of(count, number=1, rows=owed):
    request = RequestFactory().get("/", {"duties": number})
    return kept_order.page_of(ANSWER, rows, request, name="duties", count=count)


def test_its_rows_stand_in_the_order_of_the_list():
    owe(52)
    first, second = page_of(52), page_of(52, 2)
    assert [*first.object_list, *second.object_list] == list(owed())
    assert (len(first.object_list), second.paginator.count) == (50, 52)


def test_what_left_the_list_meanwhile_is_not_shown():
    ended, stays = owe(2)
    assert page_of(2).object_list == [ended, stays]
    assert page_of(2, rows=lambda: owed().exclude(pk=ended.pk)).object_list == [stays]


def test_where_the_masthead_counted_none_nothing_is_asked(django_assert_num_queries):
    with django_assert_num_queries(0):
        assert page_of(0).object_list == []


def test_each_list_that_owes_duties_has_its_order_kept():
    owing = {owner for owner in OwningList if of_list(owner)}
    assert {OwningList.DECISIONS, OwningList.PICTURES, OwningList.RESULTS} <= owing
    assert {f"duties_of_{owner.value}" for owner in owing} <= kept_answers.ANSWERS.keys()
