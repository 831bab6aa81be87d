"""What sets a lesion apart, on the patient page; the figures are drawn numbers.

The sign and how far apart is apart: docs/sources.md; from how many lesions on: clinic setting, no source.
"""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import clock
from lesions.analysis.version import VERSION
from lesions.measuring import figures as findings
from lesions.measuring import ugly_duckling
from lesions.models import Assessment, Image
from tests import build
from tests.lesions import scene
from tests.page import read

pytestmark = pytest.mark.django_db


def figures(area=12.0, dark=0.2):
    values = {"area": area, "feret": 4.0, "colours": 2, "colour_dark_brown": dark}
    values |= {"colour_blue_grey": 0.0, "colour_black": 0.0}
    rows = [
        {
            "name": name,
            "value": value,
            "unit": "",
            "uncertainty": None,
            "method": {"code": name.removesuffix("_px"), "params": {}},
        }
        for name, value in values.items()
    ]
    return {"schema": 1, "measures": rows, "scale": None}


def patient_with(*results):
    patient = build.patient()
    for result in results:
        seed = 500 + Assessment.objects.count()
        picture = scene.file(scene.lesion(patient), scene.jpeg(seed))
        done = {"state": "done", "result": result, "finished_at": clock.now(), "version": VERSION}
        Assessment.objects.filter(image=picture).update(**done)
    return patient


def said(patient):
    return [line.apart for line in findings.ledger(patient.lesions.all())]


def test_the_patient_page_says_what_sets_a_lesion_apart(client):
    patient = patient_with(*[figures() for _ in range(8)], figures(area=90.0, dark=0.9))
    assert said(patient) == [""] * 8 + ["larger and darker than the other 8"]
    client.force_login(build.nurse())
    text = read(client.get(reverse("clinic:patient", args=[patient.pk])))
    assert "larger and darker than the other 8" in text and "9 lesions held against each other" in text


def test_below_eight_it_is_said_not_to_be_assessed():
    assert said(patient_with(*[figures()] * 6, figures(area=90.0))) == [None] * 7
    assert "is not assessed: that takes 8 lesions" in ugly_duckling.note([])


def test_close_ups_and_lesions_that_are_gone_are_left_out():
    patient = patient_with(*[figures()] * 8)
    assert said(patient) == [""] * 8
    pictures = Image.objects.filter(lesion__patient=patient)
    pictures.update(kind="close_up")
    assert said(patient) == [None] * 8
    pictures.update(kind="dermoscopic")
    patient.lesions.filter(label=1).update(state="gone")
    assert said(patient) == [None] * 8


def test_a_picture_without_outline_spoils_nothing_for_the_others():
    bare = {"schema": 1, "scale": None, "measures": [row | {"value": None} for row in figures()["measures"]]}
    assert said(patient_with(*[figures()] * 8, bare)) == [""] * 8 + [None]


def test_an_outline_in_doubt_stands_apart_from_nothing():
    unsure = figures(area=90.0, dark=0.9) | {"doubt": [{"code": "ragged", "params": {}}]}
    assert said(patient_with(*[figures()] * 8, unsure)) == [""] * 8 + [None]


def test_the_ledger_asks_as_many_questions_for_one_lesion_as_for_nine():
    one, nine = patient_with(figures()), patient_with(*[figures()] * 9)
    counts = []
    for patient in (one, nine):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            findings.ledger(patient.lesions.all())
        counts.append(len(asked))
    assert counts == [4, 4]
