"""No list walks through a table that only grows: in ten years it would be as many times slower.

SQLite's manual, "EXPLAIN QUERY PLAN": SEARCH reads a part of a table or index, SCAN all of it. An index that holds only
what is still open may be read whole.
"""

import re
from contextlib import contextmanager

import pytest
from django.conf import settings
from django.db import connection
from django.urls import reverse

from clinic.models import Duty
from tests.lists import LISTS
from tests.test_queries import clinic, readers  # noqa: F401 a fixture

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(
        not settings.DATABASES["default"]["ENGINE"].endswith("sqlite3"),
        reason="PostgreSQL walks through a table of a few rows, whatever index there is",
    ),
]
# The pages that somebody works from all day.
DESKS = (
    *("scheduling:today", "scheduling:missed", "scheduling:problems", "scheduling:diary", "clinic:patients"),
    *("lesions:decisions", "lesions:unflagged", "lesions:results", "lesions:pictures"),
)
GROWS = (
    *("clinic_duty", "clinic_step", "clinic_visit", "clinic_auditrecord", "clinic_contactroute"),
    *("scheduling_recall", "scheduling_appointment", "scheduling_contactattempt", "scheduling_call"),
    *(
        "lesions_review",
        "lesions_flag",
        "lesions_signoff",
        "lesions_image",
        "lesions_assessment",
        "lesions_diagnosis",
    ),
)
# Said on their pages: how many pictures are filed, and how many results were told. Counted once after a write, and kept.
COUNTED = (
    'SELECT COUNT(*) AS "__count" FROM "lesions_image"',
    'SELECT COUNT(*) AS "__count" FROM "lesions_diagnosis"',
)


@contextmanager
def explained():
    """What the database says of each question, before it is asked."""
    plans = []

    def explain(execute, sql, params, many, context):
        if sql.lstrip().upper().startswith("SELECT"):
            with context["connection"].cursor() as cursor:
                cursor.cursor.execute(f"EXPLAIN QUERY PLAN {sql}", params or ())
                plans.extend((row[3], sql) for row in cursor.cursor.fetchall())
        return execute(sql, params, many, context)

    with connection.execute_wrapper(explain):
        yield plans


def walked(plans):
    """The tables that are read from end to end."""
    for step, sql in plans:
        found = re.match(r"SCAN (\w+)", step)
        if found and found[1] in GROWS and not sql.startswith(COUNTED):
            yield f"{step}: {sql[:300]}"


@pytest.mark.parametrize("name", DESKS)
def test_a_desk_walks_through_no_table_that_only_grows(name, clinic):  # noqa: F811 the fixture
    where, add = LISTS[name]()
    add(), add()
    args, query = where()
    for client in readers(name).values():
        with explained() as plans:
            assert client.get(reverse(name, args=args), query).status_code == 200
        assert len(plans) > 5
        assert list(walked(plans)) == []


def test_a_walk_is_found(clinic):  # noqa: F811 the fixture
    with explained() as plans:
        list(Duty.objects.filter(note="nothing is looked up by this"))
    assert list(walked(plans))
