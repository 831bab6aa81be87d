"""The page of what ran past its limit: every number opens its rows, and no part grows with the clinic. Our own rule, no source."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.pages import paging
from clinic.people import visits
from tests import build
from tests.page import read
from tests.scheduling.recalls.test_past_misses import recall

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def manager(client):
    client.force_login(build.manager(), backend="clinic.project.backends.ClinicBackend")
    return client


def seen_by(row, by):
    done = [("risk_assessment", "patient")]
    by = build.dermatologist(name=by) if isinstance(by, str) else by
    visits.record(patient=row.patient, by=by, attended_on=date(2026, 1, 9), done=done)
    type(row).objects.filter(pk=row.pk).update(state="due", ended_on=None)
    return by


def asked(client, name="past_misses", **query):
    return read(client.get(reverse(f"scheduling:{name}"), query))


def test_each_part_has_pages_of_its_own_that_leave_the_rest(manager, monkeypatch):
    # Who has more misses stands first.
    seen_by(recall(date(2026, 5, 3)), "Dr Maud Linnet")
    by = seen_by(recall(date(2026, 5, 3)), "Dr Ada Early")
    seen_by(recall(date(2026, 5, 4)), by)
    both = asked(manager)
    assert "Dr Ada Early" in both and "Dr Maud Linnet" in both
    monkeypatch.setattr(paging, "PAGE", 1)
    first, second = asked(manager), asked(manager, by_clinician="2")
    assert "Dr Ada Early" in first and "Dr Maud Linnet" not in first
    assert "Dr Maud Linnet" in second and "Dr Ada Early" not in second
    assert "May 2026" in second and "Month by month" in second


def test_a_page_of_a_part_narrows_nothing_and_stays_narrowed(manager, monkeypatch):
    here = seen_by(recall(date(2026, 5, 3)), "Dr Ada Early")
    seen_by(recall(date(2026, 3, 3)), "Dr Maud Linnet")
    monkeypatch.setattr(paging, "PAGE", 1)
    page = asked(manager, month="2026-05", by_clinician="2")
    assert "Dr Ada Early" in page and "Dr Maud Linnet" not in page, "one page: the last is shown"
    rows = asked(manager, "past_miss_rows", clinician=str(here.pk))
    assert "One ran past" not in rows and "1 ran past its limit" in rows


def test_the_head_of_the_rows_counts_all_pages(manager, monkeypatch):
    for day in (3, 4, 5):
        recall(date(2026, 5, day))
    recall(date(2026, 5, 6), date(2026, 5, 6), "completed")
    monkeypatch.setattr(paging, "PAGE", 2)
    assert "3 ran past their limits" in asked(manager, "past_miss_rows")
    assert "4 limits were passed or kept" in asked(manager, "past_miss_rows", every="1")


def test_each_table_is_counted_twice_however_often_it_is_split(manager):
    seen_by(recall(date(2026, 5, 3)), "Dr Ada Early")
    asked(manager)
    with CaptureQueriesContext(connection) as questions:
        asked(manager)
    large = [sql["sql"] for sql in questions.captured_queries if "COUNT" in sql["sql"]]
    assert [
        sum(f'FROM "{name}"' in sql for sql in large) for name in ("scheduling_recall", "clinic_duty")
    ] == [2, 2]
