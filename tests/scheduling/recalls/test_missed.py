"""The missed follow-up list: each row says why it is late and whose it is.

The reasons and their order: clinic setting, no source.
"""

import csv
from datetime import date, timedelta
from io import StringIO

import pytest
from django.db import connection
from django.urls import reverse

from clinic.people import patients, visits
from scheduling.desk import booking, claims, contacts
from scheduling.models import DeskLine, Recall, Section
from scheduling.recalls import closing, missed, missed_reasons
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
MAY = date(2026, 5, 20)


def only(today=scene.TODAY):
    (row,) = missed.rows(today)
    return row


def visit(recall, outcome):
    """Booked for today and ended so; the room has hours in the window of May as well."""
    made = scene.booked(recall)
    with scene.later(hours=4):
        if outcome == "missed":
            booking.record_missed(appointment=made, by=build.nurse(), revision=made.revision)
        else:
            booking.cancel(appointment=made, by=build.nurse(), revision=made.revision, whose=outcome)


@pytest.mark.parametrize(("day", "late"), [(date(2026, 5, 29), 0), (date(2026, 5, 30), 1), (scene.TODAY, 19)])
def test_missed_begins_on_the_day_after_the_last(day, late):
    """Overdue from the day after the window closes: clinic setting, no source."""
    scene.overdue_check()
    assert [row.days_late for row in missed.rows(day)] == ([late] if late else [])


def test_the_oldest_stands_first():
    newer, older = scene.overdue_check(), scene.check_of(scene.melanoma(date(2025, 12, 1)))
    assert [row.recall for row in missed.rows(scene.TODAY)] == [older, newer]


def test_nobody_tried():
    scene.overdue_check()
    scene.hours(day=MAY)
    row = only()
    assert (row.why, row.owner) == ("not yet called", "desk")


def test_there_were_no_hours():
    scene.overdue_check()
    assert only().reason == "no_slot"


def test_tried_and_not_reached_goes_to_a_dermatologist():
    recall = scene.overdue_check()
    scene.hours(day=MAY)
    for days, route in ((20, "phone"), (10, "phone"), (2, "post")):
        at = scene.NOON - timedelta(days=days)
        outcome = "sent" if route == "post" else "no_answer"
        contacts.log_attempt(
            recall=recall, by=build.nurse(), route=route, address="x", outcome=outcome, at=at
        )
    row = only()
    assert (row.why, row.owner) == ("not reached: 2 calls, 1 letter", "dermatologist")


def test_reached_and_not_booked():
    recall = scene.overdue_check()
    scene.hours(day=MAY)
    contacts.log_attempt(recall=recall, by=build.nurse(), route="phone", address="x", outcome="spoke")
    assert only().why == "reached on 17 Jun 2026, not booked"


@pytest.mark.parametrize(
    ("outcome", "why"),
    [
        ("declined", "said on 17 Jun 2026 that they do not want to come"),
        ("asks_later", "asks to be called on 22 Jun 2026"),
        ("spoke", "no bookable hours in its window; spoken to on 17 Jun 2026"),
    ],
)
def test_what_was_said_is_the_reason_even_without_hours(outcome, why):
    recall = scene.overdue_check()
    contacts.log_attempt(recall=recall, by=build.nurse(), route="phone", address="x", outcome="no_answer")
    with scene.later(hours=5):
        later = {"next_on": date(2026, 6, 22)} if outcome == "asks_later" else {}
        contacts.log_attempt(
            recall=recall, by=build.dermatologist(), route="phone", address="x", outcome=outcome, **later
        )
    assert only().why == why
    assert only().reason in ("declined", "asks_later", "no_slot")


def test_a_call_without_an_answer_takes_no_answer_back():
    recall = scene.overdue_check()
    scene.hours(day=MAY)
    by = build.dermatologist()
    contacts.log_attempt(recall=recall, by=by, route="phone", address="x", outcome="declined")
    with scene.later(hours=5):
        contacts.log_attempt(recall=recall, by=by, route="phone", address="x", outcome="no_answer")
    assert only().why == "said on 17 Jun 2026 that they do not want to come"


@pytest.mark.parametrize(
    ("outcome", "why"),
    [
        ("missed", "missed the visit on 17 Jun 2026"),
        ("clinic", "cancelled by us, 17 Jun 2026"),
        ("patient", "cancelled by the patient, 17 Jun 2026"),
    ],
)
def test_how_the_last_visit_came_to_nothing(outcome, why):
    visit(scene.overdue_check(), outcome)
    assert only().why == why


def test_booked_too_late_is_still_missed():
    scene.booked(scene.overdue_check(), starts_at=scene.at(14, day=date(2026, 6, 24)))
    assert only().why == "booked for 24 Jun 2026"


def test_whoever_works_on_it_is_named():
    recall = scene.overdue_check()
    claims.claim(patient=recall.patient, by=build.nurse(name="Ada Quick"))
    assert only().owner == "Ada Quick"


def test_a_proposal_waits_for_a_dermatologist():
    recall = scene.overdue_check()
    fields = {"ground": "moved", "note": "to the coast"}
    closing.propose_closing(recall=recall, by=build.nurse(), revision=recall.revision, **fields)
    assert (only().reason, only().owner) == ("proposed", "dermatologist")


def test_each_row_says_how_urgent_it_is_and_whose_patient_it_is(client):
    """Whose: the dermatologist who saw the patient last (clinic setting, no source)."""
    recall, by = scene.overdue_check(), build.dermatologist(name="Dr Maud Linnet")
    for who, day in (
        (build.dermatologist(), date(2025, 1, 9)),
        (by, date(2025, 2, 9)),
        (build.nurse(), date(2025, 3, 9)),
    ):
        visits.record(patient=recall.patient, by=who, attended_on=day, done=[("risk_assessment", "patient")])
    assert only().clinician == "Dr Maud Linnet"
    client.force_login(build.manager())
    page = read(client.get(reverse("scheduling:missed")))
    assert "Dr Maud Linnet" in page and "surveillance" in page
    head, row = csv.reader(StringIO(missed.as_csv(missed.rows(scene.TODAY)), newline=""))
    assert row[head.index("clinician")] == "Dr Maud Linnet"


def test_a_line_says_how_the_numbers_of_the_pages_go_together(client):
    one, _other, due = (
        scene.overdue_check(high=True),
        scene.overdue_check(high=True),
        scene.due_check(high=True),
    )
    kept = Recall.objects.filter(pk=one.pk).values().get()
    Recall.objects.create(**kept | {"id": None, "subject": "lesion:1"})
    worklists.build(scene.TODAY)
    client.force_login(build.manager())
    page = read(client.get(reverse("scheduling:missed")))
    assert "Two people should have been seen" in page and "3 recalls are past their last day" in page
    people = DeskLine.objects.exclude(section=Section.LATER).count()
    assert f"2 of these 2 stand on Today among {people}" in page and due.patient_id in set(
        DeskLine.objects.values_list("patient", flat=True)
    )


def test_the_counts_are_the_rows():
    scene.overdue_check()
    visit(scene.overdue_check(), "missed")
    rows = missed.rows(scene.TODAY)
    counts = missed_reasons.read(missed_reasons.in_order(scene.TODAY)).counts()
    for reason, _, count in counts:
        assert count == sum(row.reason == reason for row in rows)
    assert sum(count for _, _, count in counts) == len(rows) == missed_reasons.people(scene.TODAY).count()


def test_whoever_is_missed_twice_counts_once_and_who_has_left_not_at_all():
    overdue = scene.overdue_check()
    kept = Recall.objects.filter(pk=overdue.pk).values().get()
    Recall.objects.create(**kept | {"id": None, "subject": "lesion:1"})
    gone = scene.overdue_check().patient
    type(gone).objects.filter(pk=gone.pk).update(status="deceased", status_on=gone.born, status_ground="said")
    assert missed_reasons.late(scene.TODAY).count() == 2
    assert [one.pk for one in missed_reasons.people(scene.TODAY)] == [overdue.patient_id]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the plan as SQLite writes it")
def test_people_missed_are_counted_from_what_is_late():
    """Each page counts them: SQLite searches an index for it, and walks through (SCAN) no table."""
    plan = missed_reasons.people(scene.TODAY).order_by().explain()
    assert "COVERING INDEX" in plan and "SCAN" not in plan


@pytest.mark.parametrize("name", ["=1+1", "+44", "-2", "@SUM(A1)", "\tx", '=HYPERLINK("x","y"),\n'])
def test_no_name_becomes_a_formula_in_a_spreadsheet(name):
    """OWASP, "CSV Injection" (from memory): cells that begin with = + - @ tab or carriage return."""
    recall = scene.overdue_check()
    patients.amend(patient=recall.patient, by=build.nurse(), revision=1, family_name=name)
    head, row = csv.reader(StringIO(missed.as_csv(missed.rows(scene.TODAY)), newline=""))
    assert len(row) == len(head) and row[1] == f"'{name}"
