"""Checklists through the page. Worked scores: docs/sources.md, "Checklists" (dermoscopedia, NICE NG12 and CKS, Argenziano 1998, DermNet)."""

from datetime import timedelta
from decimal import Decimal
from inspect import signature

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access import NotAllowed
from clinic.models import AuditRecord
from clinic.people import visits
from clinic.tally import tally
from lesions.models import Assessment
from scheduling.checklists import records
from scheduling.checklists.definitions import SHEETS
from scheduling.models import Checklist
from scheduling.rules import checklist_sums as core
from tests import build
from tests.lesions import scene as pictures
from tests.page import read
from tests.scheduling import scene

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("noon")]

COLOURS = ["white", "red", "light_brown", "dark_brown", "blue_grey", "black"]
STRUCTURES = ["network", "structureless", "streaks", "dots", "globules"]


def abcd(a, b, c, d):
    return {"asymmetry": str(a), "border": str(b), "colours": COLOURS[:c], "structures": STRUCTURES[:d]}


# name of the sheet, what is entered, the published sum, whether its threshold is met, words of the source
WORKED = [
    ("abcd", abcd(2, 4, 3, 2), "5.5", True, "above both published limits"),
    ("abcd", abcd(1, 4, 3, 3), "4.7", False, "below both published limits"),
    ("abcd", abcd(1, 5, 3, 3), "4.8", True, "between the published limits"),
    ("abcd", abcd(2, 8, 6, 5), "8.9", True, "above both published limits"),
    ("weighted-7", {"major": ["change_in_size"], "diameter_mm": "6.9"}, "2", False, "NICE NG12"),
    (
        "weighted-7",
        {"major": ["change_in_size"], "diameter_mm": "8"},
        "3",
        True,
        "strong concern about any one feature",
    ),
    (
        "weighted-7",
        {"minor": ["inflammation", "change_in_sensation"], "diameter_mm": "7.0"},
        "3",
        True,
        "NICE NG12",
    ),
    (
        "dermoscopic-7",
        {"minor": ["irregular_streaks", "irregular_dots"], "threshold": "classic"},
        "2",
        False,
        "Argenziano 1998",
    ),
    (
        "dermoscopic-7",
        {"minor": ["irregular_streaks", "irregular_dots"], "threshold": "revised"},
        "2",
        True,
        "revised",
    ),
    (
        "dermoscopic-7",
        {"major": ["blue_whitish_veil"], "minor": ["irregular_dots"], "threshold": "classic"},
        "3",
        True,
        "Argenziano 1998): 3 or more",
    ),
    ("three-point", {"seen": ["asymmetry", "atypical_network"]}, "2", True, "2 or more."),
    ("three-point", {"seen": ["asymmetry"]}, "1", False, "DermNet"),
]


@pytest.fixture
def doctor(client):
    member = build.dermatologist(name="Dr Vale")
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return member


def seen(lesion, days_ago=0):
    on = scene.TODAY - timedelta(days=days_ago)
    return visits.record(patient=lesion.patient, by=build.nurse(), attended_on=on)


def url(lesion, kind="abcd"):
    return reverse("scheduling:fill_checklist", args=[lesion.pk, kind])


def lesion_page(client, lesion):
    return read(client.get(reverse("lesions:lesion", args=[lesion.pk])))


@pytest.mark.parametrize(("kind", "entries", "total", "met", "words"), WORKED)
def test_a_worked_score_through_the_page(client, doctor, kind, entries, total, met, words):
    lesion = pictures.lesion()
    visit = seen(lesion)
    answer = client.post(url(lesion, kind), entries | {"visit_of": visit.pk}, follow=True)
    row = Checklist.objects.get()
    assert (row.score, row.threshold_met, row.visit, row.by) == (Decimal(total), met, visit, doctor)
    shown = read(answer)
    assert words in shown and "no diagnosis" in shown and "visit of 17 Jun 2026, Dr Vale" in shown


def test_every_sheet_asks_for_all_that_the_core_counts():
    """The names on the page against the arguments of the core, read from its signatures."""
    counted = {
        "abcd": core.abcd_rule,
        "weighted-7": core.weighted_seven_point,
        "dermoscopic-7": core.dermoscopic_seven_point,
        "three-point": core.three_point,
    }
    for kind, count in counted.items():
        items = SHEETS[kind].items
        names = {item.name for item in items} | {key for item in items for key, _ in item.choices}
        assert set(signature(count).parameters) - {"revised"} <= names


def test_nothing_is_ticked_beforehand_and_what_was_measured_stands_beside(client, doctor):
    lesion = pictures.lesion()
    seen(lesion)
    pictures.measured(lesion, mm_per_px=0.05, scale_origin="ruler", scale_uncertainty=0.02)
    row = Assessment.objects.get()
    known = {"asymmetry_axes": (1, "axes"), "border_abrupt": (3, "eighths"), "colours": (2, "colours")}
    measures = [
        {
            "name": name,
            "value": value,
            "unit": unit,
            "uncertainty": None,
            "method": {"code": "feret", "params": {}},
        }
        for name, (value, unit) in known.items()
    ]
    result = row.result | {"measures": measures, "doubt": [{"code": "ragged", "params": {}}]}
    Assessment.objects.filter(pk=row.pk).update(result=result)
    shown = read(client.get(url(lesion)))
    for words in ("1 axis", "3 eighths", "2 colours"):
        assert shown.find("strong", words)
    assert f"/images/{row.image_id}/view/" in client.get(url(lesion)).content.decode()
    assert f"version {row.version}. Automatic outline. The outline is in doubt." in shown
    assert shown.text.count("Not counted unless you enter it") == 3
    assert shown.fields("border") and shown.chosen() == ["visit_of"], "only the visit is chosen beforehand"


@pytest.mark.parametrize(("days_ago", "chosen"), [(0, 1), (7, 1), (8, 0)])
def test_the_visit_of_the_last_week_is_offered_first(client, doctor, days_ago, chosen):
    lesion = pictures.lesion()
    seen(lesion, days_ago)
    shown = read(client.get(url(lesion)))
    assert shown.fields("visit_of") and len(shown.chosen()) == chosen


def test_without_visit_and_picture_the_page_says_what_is_wanted(client, doctor):
    lesion = pictures.lesion()
    shown = read(client.get(url(lesion)))
    assert "record the visit" in shown and "add a picture" in shown and "Add it up" not in shown
    assert client.post(url(lesion), abcd(0, 0, 1, 1)).status_code == 422
    assert not Checklist.objects.exists()


def test_a_picture_is_enough_and_stands_in_sight(client, doctor):
    lesion = pictures.lesion()
    earlier, later = (pictures.file(lesion, days_ago=days) for days in (30, 3))
    shown = client.get(url(lesion))
    assert f"/images/{later.pk}/view/" in shown.content.decode()
    assert f"{url(lesion)}?picture={earlier.pk}" in shown.content.decode(), (
        "another picture is one click away"
    )
    answer = client.post(
        f"{url(lesion)}?picture={earlier.pk}", abcd(2, 4, 3, 2) | {"visit_of": "picture"}, follow=True
    )
    row = Checklist.objects.get()
    assert (row.image, row.visit, row.score) == (earlier, None, Decimal("5.5"))
    assert "picture of 18 May 2026, Dr Vale" in read(answer)
    assert AuditRecord.objects.get(action="checklist.fill").details["picture"] == earlier.pk


def test_the_visit_of_today_is_linked_and_the_picture_too(client, doctor):
    lesion = pictures.lesion()
    visit, picture = seen(lesion), pictures.file(lesion)
    assert read(client.get(url(lesion))).chosen() == ["visit_of"]
    client.post(url(lesion), abcd(2, 4, 3, 2) | {"visit_of": visit.pk})
    row = Checklist.objects.get()
    assert (row.visit, row.image) == (visit, picture)


def test_a_picture_of_another_lesion_is_refused(client, doctor):
    lesion, other = pictures.lesion(), pictures.file(pictures.lesion())
    assert client.get(f"{url(lesion)}?picture={other.pk}").status_code == 404
    with pytest.raises(records.ChecklistRefused, match="another lesion"):
        records.fill(lesion=lesion, image=other, by=doctor, kind="abcd", entries=abcd(0, 0, 1, 1))
    with pytest.raises(records.ChecklistRefused, match="picture or a visit"):
        records.fill(lesion=lesion, by=doctor, kind="abcd", entries=abcd(0, 0, 1, 1))


def test_the_source_stands_beside_the_sum_and_no_word_about_memory(client, doctor):
    lesion = pictures.lesion()
    seen(lesion)
    shown = read(client.get(url(lesion)))
    assert "Stolz, Nachbar 1994" in shown and "memory" not in shown
    client.post(url(lesion), abcd(2, 4, 3, 2) | {"visit_of": lesion.patient.visits.get().pk})
    assert "Stolz, Nachbar 1994" in lesion_page(client, lesion)


@pytest.mark.parametrize(
    ("kind", "entries", "words"),
    [
        ("abcd", abcd(2, 4, 0, 2), "C: colours"),
        ("abcd", abcd(3, 4, 1, 2), "not one of the available choices"),
        ("weighted-7", {"major": ["change_in_size"]}, "Largest diameter"),
        ("weighted-7", {"major": ["change_in_size"], "diameter_mm": "0"}, "greater than or equal"),
        ("three-point", {}, "Nothing is ticked"),
        ("three-point", {"seen": ["asymmetry"], "nothing": "on"}, "also that none is present"),
    ],
)
def test_a_sheet_that_is_not_complete_keeps_what_was_entered(client, doctor, kind, entries, words):
    lesion = pictures.lesion()
    visit = seen(lesion)
    answer = client.post(url(lesion, kind), entries | {"visit_of": visit.pk})
    shown = read(answer)
    assert answer.status_code == 422 and words in shown and not Checklist.objects.exists()
    kept = [(one.get("name"), one.value) for one in shown.fields() if one.is_chosen]
    assert ("visit_of", str(visit.pk)) in kept


def test_that_nothing_was_seen_is_said_and_counts_nought(client, doctor):
    lesion = pictures.lesion()
    client.post(url(lesion, "three-point"), {"nothing": "on", "visit_of": seen(lesion).pk})
    assert Checklist.objects.get().score == 0


def test_a_visit_of_somebody_else_is_refused(doctor):
    lesion, other = pictures.lesion(), pictures.lesion()
    with pytest.raises(records.ChecklistRefused, match="another patient"):
        records.fill(lesion=lesion, visit=seen(other), by=doctor, kind="abcd", entries=abcd(0, 0, 1, 1))


@pytest.mark.parametrize("entries", [{}, abcd(9, 0, 1, 1), abcd(0, 0, 1, 1) | {"colours": "red"}])
def test_entries_that_no_sheet_knows_are_refused(doctor, entries):
    lesion = pictures.lesion()
    with pytest.raises(records.ChecklistRefused):
        records.fill(lesion=lesion, visit=seen(lesion), by=doctor, kind="abcd", entries=entries)


@pytest.mark.parametrize("diameter", [None, "", "wide", "0", "-1", "NaN", "Infinity"])
def test_what_is_no_length_is_refused_in_words_of_ours(doctor, diameter):
    lesion = pictures.lesion()
    entries = {"major": ["change_in_size"], "minor": [], "diameter_mm": diameter}
    with pytest.raises(records.ChecklistRefused, match="enter millimetres, more than 0"):
        records.fill(lesion=lesion, visit=seen(lesion), by=doctor, kind="weighted-7", entries=entries)


def test_only_a_dermatologist_fills_one_in(client):
    lesion = pictures.lesion()
    visit, nurse = seen(lesion), build.nurse()
    with pytest.raises(NotAllowed):
        records.fill(lesion=lesion, visit=visit, by=nurse, kind="abcd", entries=abcd(0, 0, 1, 1))
    client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    assert "No checklist was filled in" in lesion_page(client, lesion)
    assert not lesion_page(client, lesion).leads_to(url(lesion))
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")
    assert lesion_page(client, lesion).leads_to(url(lesion))


def test_it_is_recorded_kept_for_good_and_moves_no_plan(doctor):
    lesion = pictures.lesion()
    visit, before = seen(lesion), lesion.patient.facts_revision
    row = records.fill(lesion=lesion, visit=visit, by=doctor, kind="abcd", entries=abcd(2, 4, 3, 2))
    assert AuditRecord.objects.get(action="checklist.fill").details["score"] == "5.5"
    lesion.patient.refresh_from_db()
    assert lesion.patient.facts_revision == before
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Checklist.objects.filter(pk=row.pk).update(score=1)


def test_the_page_asks_as_many_questions_for_three_as_for_one(client, doctor):
    lesion = pictures.lesion()
    visit = seen(lesion)

    def fill():
        records.fill(lesion=lesion, visit=visit, by=doctor, kind="abcd", entries=abcd(2, 4, 3, 2))

    fill()
    lesion_page(client, lesion)
    with CaptureQueriesContext(connection) as one:
        lesion_page(client, lesion)
    fill(), fill()
    tally.keep()  # as the request does that writes them
    with CaptureQueriesContext(connection) as three:
        shown = lesion_page(client, lesion)
    assert len(three) == len(one) and shown.text.count("Total dermoscopy score 5.5") == 3


def test_an_unknown_checklist_is_not_found(client, doctor):
    assert client.get(url(pictures.lesion(), "horoscope")).status_code == 404
