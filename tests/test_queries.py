"""Every list asks the database as many questions for three rows as for one, for each role that may see it."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import clock
from tests import build
from tests.lists import LISTS, NO_LISTS
from tests.page import read
from tests.scheduling import scene
from tests.test_access import OK, ROLES, TABLE

pytestmark = pytest.mark.django_db
MOST = 30  # of one page, with everything that stands round it


def test_every_page_of_the_access_table_is_counted_or_has_no_rows():
    pages = {name for name, (method, _, _) in TABLE.items() if method == "get"}
    assert pages == {*LISTS, *NO_LISTS} and not NO_LISTS & set(LISTS)


@pytest.fixture
def clinic():
    with clock.at(scene.NOON):
        build.rules_in_force(), build.flags_in_force(), build.tiers_in_force()
        yield


def readers(name):
    """One of each role that may see the page; who is signed in has asked for a page before."""
    found = {}
    for role, answer in zip(ROLES, TABLE[name][2], strict=True):
        if answer == OK:
            found[role] = Client()
            found[role].force_login(build.member(role), backend="clinic.project.backends.ClinicBackend")
    return found


def ask(client, address, query):
    """The questions of the second time, late in the afternoon, and the answer."""
    with scene.later(hours=5):
        client.get(address, query)
        with CaptureQueriesContext(connection) as asked:
            answer = client.get(address, query)
    assert answer.status_code == 200
    return [one["sql"] for one in asked.captured_queries], answer


def told(answer):
    return read(answer).text if "html" in answer["Content-Type"] else answer.content.decode()


@pytest.mark.parametrize("name", LISTS)
def test_a_list_asks_no_more_for_three_rows_than_for_one(name, clinic):
    where, add = LISTS[name]()
    clients = readers(name)
    words = add()
    args, query = where()
    one = {role: ask(client, reverse(name, args=args), query)[0] for role, client in clients.items()}
    words += add() + add()
    args, query = where()
    for role, client in clients.items():
        asked, answer = ask(client, reverse(name, args=args), query)
        page = told(answer)
        assert not [one for one in words if one.lower() not in page.lower()], (
            f"the rows are not on the page of a {role}: {page[150:2600]}"
        )
        assert len(asked) <= MOST
        more = "\n".join(sql for sql in asked if sql not in one[role])
        assert len(asked) == len(one[role]), f"{role}: {len(one[role])} became {len(asked)}\n{more[:6000]}"
