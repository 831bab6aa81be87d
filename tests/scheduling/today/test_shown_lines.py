"""The lines that Today shows: read in one question, in the very order of the database. Our own rule, no source."""

import random
from datetime import timedelta

import pytest
from django.core.paginator import Paginator
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic import clock
from clinic.models import Patient
from scheduling.models import Claim, DeskLine, PartOfDay, Section, Urgency
from scheduling.today import shown_lines
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.django_db
PAGE = 4


@pytest.fixture
def lines():
    """Many people in every section, alike in all but one thing or another."""
    chance = random.Random(7)
    return DeskLine.objects.bulk_create(
        DeskLine(
            patient=build.patient(), day=scene.TODAY, section=section, since=scene.TODAY, duties=1,
            urgency=chance.choice(Urgency.values), part=chance.choice(PartOfDay.values),
            ends_on=scene.TODAY + timedelta(days=chance.randrange(2)),
            comes_on=scene.TODAY + timedelta(days=chance.randrange(3)), first=f"recall:{number}", what="skin_check",
        )
        for section in Section for number in range(11)
    )  # fmt: skip


def pages(number):
    return {
        section: Paginator(shown_lines.in_order(DeskLine.objects.all(), section), PAGE).page(number)
        for section in Section
    }


@pytest.mark.parametrize("hour", [9, 15])
@pytest.mark.parametrize("number", [1, 2, 3])
def test_each_section_stands_in_its_order_page_by_page(lines, number, hour):
    with clock.at(scene.NOON.replace(hour=hour)):
        cut = pages(number)
        wanted = {section: [row.pk for row in page.object_list] for section, page in cut.items()}
        found = shown_lines.shown(cut)
    assert {section: [line.pk for line in rows] for section, rows in found.items()} == wanted
    assert all(1 <= len(keys) <= PAGE for keys in wanted.values())


def test_all_sections_are_read_in_one_question(lines):
    cut = pages(1)
    assert all(page.paginator.count for page in cut.values())
    with CaptureQueriesContext(connection) as asked:
        shown_lines.shown(cut)
    assert len(asked) == 1


def test_nobody_to_show_is_nothing():
    assert shown_lines.shown({}) == {}


def test_a_line_says_who_it_is_whose_and_whether_another_bears_the_name():
    nurse = build.nurse()
    one, namesake, other = (
        build.patient(given_name="Zoë", family_name="Straße"),
        build.patient(given_name="ZOE", family_name="Strasse", born=scene.TODAY.replace(year=1950)),
        build.patient(given_name="Zoë", family_name="Gasse"),
    )
    Claim.objects.create(patient=other, by=nurse, since=clock.now(), touched_at=clock.now())
    for patient in (one, other):
        DeskLine.objects.create(
            patient=patient, day=scene.TODAY, section=Section.PHONE, urgency="B", ends_on=scene.TODAY,
            comes_on=scene.TODAY, since=scene.TODAY, first="recall:1", what="skin_check", duties=3, tried=2,
        )  # fmt: skip
    found = {line.patient_id: line for line in shown_lines.shown(pages(1))[Section.PHONE]}
    shown, held = found[one.pk], found[other.pk]
    assert (shown.given_name, shown.family_name, shown.born, shown.number) == (
        "Zoë", "Straße", one.born, one.number,
    )  # fmt: skip
    assert (shown.duties, shown.tried, shown.shares_name, shown.held_by) == (3, 2, True, None)
    assert (held.shares_name, held.held_by, held.holder_signs_in_as) == (False, nurse.pk, nurse.username)
    Patient.objects.filter(pk=namesake.pk).update(merged_into=one)
    assert not shown_lines.shown(pages(1))[Section.PHONE][0].shares_name
