"""Procedures and results: each waits until it is answered, and a report on the wrong specimen is refused.

How this clinic works: common practice, no source.
"""

from datetime import timedelta

import pytest

from clinic import clock
from clinic.access import NotAllowed
from clinic.models import StaleRow
from lesions.results import pathology, results_owed
from lesions.results.pathology import ResultRefused
from tests import build
from tests.lesions import scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesion():
    return scene.lesion(monitoring="short")


def biopsy(lesion, doctor, days_ago=10, kind="biopsy"):
    on = build.days_ago(days_ago)
    return pathology.record_procedure(patient=lesion.patient, by=doctor, kind=kind, on=on, lesion=lesion)


def report(lesion, doctor, **more):
    fields = {"code": "melanoma", "reported_on": build.days_ago(2), "lesion": lesion} | more
    return pathology.record_diagnosis(patient=lesion.patient, by=doctor, **fields)


@pytest.mark.parametrize(
    ("kind", "state"), [("biopsy", "biopsy_taken"), ("excision", "removed"), ("other", "watched")]
)
def test_a_procedure_moves_the_lesion_and_waits_for_its_result(lesion, doctor, kind, state):
    taken = biopsy(lesion, doctor, kind=kind)
    lesion.refresh_from_db()
    assert lesion.state == state and taken.site == lesion.site
    assert results_owed.waits_for_report(lesion.patient) == ([] if kind == "other" else [taken.pk])


def test_invasive_without_thickness_is_taken_and_left_open(lesion, doctor):
    row = report(lesion, doctor)
    assert (row.thickness, row.ulceration) == ("", None)


@pytest.mark.parametrize(
    ("typed", "kept"), [("0.80", "0.80"), (">= 0.8", ">=0.8"), ("1,2", "1.2"), ("≥0.8", ">=0.8")]
)
def test_thickness_is_kept_as_reported(lesion, doctor, typed, kept):
    assert report(lesion, doctor, thickness=typed).thickness == kept


@pytest.mark.parametrize(
    "wrong",
    [
        {"code": "mole"},
        {"thickness": "thin"},
        {"n": "N9"},
        {"m": "maybe"},
        {"stage": "V"},
        {"stage_basis": "guess"},
        {"reported_on": clock.today() + timedelta(days=3)},
        {"anchor": clock.today() + timedelta(days=3)},
    ],
)
def test_words_outside_the_closed_lists_are_refused(lesion, doctor, wrong):
    with pytest.raises(ResultRefused):
        report(lesion, doctor, **wrong)


def test_a_report_on_the_wrong_specimen_is_refused(lesion, doctor):
    """Wrong-specimen reports happen (docs/sources.md, "Results"); what follows: clinic setting, no source."""
    stranger, sibling = scene.lesion(), scene.lesion(lesion.patient)
    for procedure in (biopsy(stranger, build.nurse()), biopsy(sibling, doctor)):
        with pytest.raises(ResultRefused):
            report(lesion, doctor, procedure=procedure)
    with pytest.raises(ResultRefused, match="older than"):
        report(lesion, doctor, procedure=biopsy(lesion, doctor, 1))
    with pytest.raises(ResultRefused, match="another record"):
        pathology.record_diagnosis(
            patient=build.patient(), by=doctor, code="bcc", reported_on=clock.today(), lesion=lesion
        )


def test_a_result_is_told_only_once(lesion, doctor):
    bad = report(lesion, doctor)
    scene.tell(bad)
    with pytest.raises(StaleRow):
        scene.tell(bad)


def test_a_nurse_records_no_result(lesion):
    with pytest.raises(NotAllowed):
        report(lesion, build.nurse())


def test_a_result_moves_the_facts(lesion, doctor):
    before = lesion.patient.facts_revision
    report(lesion, doctor)
    lesion.patient.refresh_from_db()
    assert lesion.patient.facts_revision == before + 1
