"""What stands on a pathology report beside the stage: number, text, subtype, mitoses, margins.

Items of the report: International Collaboration on Cancer Reporting, data set for cutaneous invasive melanoma (Scolyer et
al., Am J Surg Pathol 2013;37:1797-1814), which names subtype, mitotic count per mm2 and margins: from memory. That nothing of
it is required here, and what contradicts itself: clinic setting, no source.
"""

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from lesions.models import Diagnosis
from lesions.pages import diagnosis_versions
from lesions.results import pathology, wording
from lesions.results.pathology import ResultRefused
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db

TEXT = "Ellipse of skin 22 x 11 mm.\n\nBreslow 1.2 mm; no regression <seen>."
WRITTEN = {
    "report_number": "24-0815/2",
    "report_text": TEXT,
    "subtype": "superficial_spreading",
    "mitoses": "3",
    "margin_peripheral": "clear",
    "margin_peripheral_mm": "2,5",
    "margin_deep": "involved",
}


def reported(**more):
    patient = build.patient()
    given = {
        "patient": patient,
        "by": build.dermatologist(),
        "code": "melanoma",
        "lesion": build.lesion(patient),
    }
    return pathology.record_diagnosis(**given | {"reported_on": build.days_ago(5)} | more)


def amended(row, **fields):
    return pathology.amend_diagnosis(diagnosis=row, by=build.dermatologist(), revision=row.revision, **fields)


def test_the_report_is_kept_as_it_was_written():
    row = Diagnosis.objects.get(pk=reported(**WRITTEN).pk)
    assert row.report_text == TEXT and row.report_number == "24-0815/2"
    assert wording.report_words(row) == [
        "superficial spreading",
        "mitoses per mm²: 3",
        "peripheral margin clear by 2.5 mm",
        "deep margin involved",
        "report 24-0815/2",
    ]


def test_nothing_of_it_is_required_and_what_is_not_stated_is_not_said():
    assert wording.report_words(reported()) == []
    assert wording.report_words(reported(margin_deep="clear", mitoses="0")) == [
        "mitoses per mm²: 0",
        "deep margin clear",
    ]


@pytest.mark.parametrize(
    "wrong, said",
    [
        ({"subtype": "round"}, "not a known subtype"),
        ({"subtype": "nodular", "code": "bcc"}, "melanoma"),
        ({"mitoses": "many"}, "mitoses"),
        ({"mitoses": "2", "code": "melanoma_in_situ"}, "invasive melanoma"),
        ({"margin_deep": "near"}, "not a known margin"),
        ({"margin_deep": "clear", "margin_deep_mm": "wide"}, "millimetres"),
        ({"margin_deep": "involved", "margin_deep_mm": "1"}, "clear margin"),
        ({"margin_peripheral_mm": "1"}, "clear margin"),
    ],
)
def test_what_contradicts_itself_is_refused(wrong, said):
    with pytest.raises(ResultRefused, match=said):
        reported(**wrong)
    assert not Diagnosis.objects.exists()


def test_the_database_holds_no_distance_of_a_margin_that_is_not_clear():
    row = reported(**WRITTEN)
    with pytest.raises(IntegrityError), transaction.atomic():
        Diagnosis.objects.filter(pk=row.pk).update(margin_deep_mm="1")


def test_an_amended_report_keeps_what_the_first_one_said():
    row = amended(reported(**WRITTEN), mitoses="4", report_text="Corrected: 4 mitoses.", why="second count")
    first, second = row.versions.order_by("pk")
    assert first.values["report_text"] == TEXT and first.values["mitoses"] == "3"
    assert second.values["mitoses"] == "4" and second.values["subtype"] == "superficial_spreading"
    latest = diagnosis_versions.in_words(row)[0]
    assert "mitoses per mm²: 3, now 4" in latest.changed
    assert any(TEXT in words for words in latest.changed)


def test_the_form_asks_it_and_the_pages_show_it_whole(client):
    patient = build.patient()
    lesion = build.lesion(patient)
    client.force_login(build.dermatologist())
    door = reverse("lesions:new_diagnosis", args=[patient.pk])
    assert read(client.get(door)).offered("subtype") == [
        "", "superficial_spreading", "nodular", "lentigo_maligna", "acral_lentiginous", "desmoplastic", "other",
    ]  # fmt: skip
    given = WRITTEN | {"code": "melanoma", "lesion": lesion.pk, "reported_on": build.days_ago(2).isoformat()}
    assert client.post(door, given | {"ulceration": "unknown", "nodes_cleared": "unknown"}).status_code == 302
    found = Diagnosis.objects.get()
    assert found.report_text.splitlines() == TEXT.splitlines()
    for name, key in (("clinic:patient", patient.pk), ("lesions:lesion", lesion.pk)):
        shown = read(client.get(reverse(name, args=[key])))
        for words in (
            "superficial spreading",
            "peripheral margin clear by 2.5 mm",
            "24-0815/2",
            "no regression <seen>.",
        ):
            assert words in shown, (name, words)


def test_print_has_the_text_that_the_screen_folds(client):
    row = reported(**WRITTEN)
    client.force_login(build.dermatologist())
    shown = read(client.get(reverse("clinic:patient", args=[row.patient_id])))
    in_print = [
        one for one in shown.walk() if "print-only" in one.get("class").split() and "Ellipse" in one.text
    ]
    folded = [one for one in shown.walk() if one.tag == "details" and "Ellipse" in one.text]
    assert len(in_print) == len(folded) == 1 and "screen-only" in folded[0].get("class").split()


def test_a_questions_answer_stays_where_only_the_text_came_later():
    """What is read and told anew is a corrected report; a text typed in afterwards is none."""
    row = reported(thickness="1.2")
    read_before = row.versions.count()
    amended(row, report_text=TEXT)
    assert row.versions.count() == read_before + 1 and not row.versions.last().corrected
