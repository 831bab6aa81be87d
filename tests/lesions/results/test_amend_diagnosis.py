"""A diagnosis is completed in place, so that its questions end and no second melanoma appears.

What is asked for and read anew: common practice, no source.
"""

from datetime import date

import pytest
from django.urls import reverse

from clinic.models import AuditRecord, StaleRow
from lesions.models import Diagnosis
from lesions.results import pathology
from lesions.results.pathology import ResultRefused
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db


def reported(**more):
    given = {"patient": build.patient(), "by": build.dermatologist(), "code": "melanoma"}
    return pathology.record_diagnosis(**given | {"reported_on": build.days_ago(5)} | more)


def amended(row, **fields):
    return pathology.amend_diagnosis(diagnosis=row, by=build.dermatologist(), revision=row.revision, **fields)


def test_what_became_known_amends_the_row_and_stands_in_the_trail():
    row = reported()
    amended(
        row, n="N0", m="M0", thickness="0,8", ulceration=False, anchor=build.days_ago(10), sentinel="not_done"
    )
    row = Diagnosis.objects.get()
    assert (row.n, row.thickness, row.sentinel, row.anchor) == ("N0", "0.8", "not_done", build.days_ago(10))
    changed = AuditRecord.objects.get(action="diagnosis.amend").details["changed"]
    assert changed["n"] == ["", "N0"] and "code" not in changed


def sent_as_shown(page):
    """The form as a browser sends it when nobody touched it: what is shown as chosen, and every text."""
    given = {}
    for field in page.find_all("form")[-1].fields():
        lists = [one.get("value") for one in field.find_all("option") if one.is_chosen]
        if field.role == "combobox":
            given[field.get("name")] = (lists or [field.find_all("option")[0].get("value")])[0]
        elif field.role == "textbox":
            given[field.get("name")] = field.value
    return given


@pytest.mark.parametrize("stated", [True, False, None])
def test_a_form_that_nobody_touched_changes_no_answer(client, stated):
    row = reported(thickness="0.8", ulceration=stated, nodes_cleared=stated, anchor=build.days_ago(10))
    client.force_login(build.dermatologist())
    url = reverse("lesions:amend_diagnosis", args=[row.pk])
    given = sent_as_shown(read(client.get(url))) | {"revision": row.revision}
    assert client.post(url, given).status_code == 302
    row.refresh_from_db()
    assert (row.ulceration, row.nodes_cleared, row.thickness) == (stated, stated, "0.8")


def test_two_at_once_do_not_overwrite_each_other():
    row = reported()
    seen = row.revision
    amended(row, n="N0")
    with pytest.raises(StaleRow):
        pathology.amend_diagnosis(diagnosis=row, by=build.dermatologist(), revision=seen, n="N1a")


@pytest.mark.parametrize(
    "wrong",
    [
        {"n": "N9"},
        {"grade": "odd"},
        {"deposit_mm": "small"},
        {"sentinel": "maybe"},
        {"anchor": date(2062, 1, 1)},
    ],
)
def test_what_no_report_can_say_is_refused(wrong):
    row = reported()
    with pytest.raises(ResultRefused):
        amended(row, **wrong)
    assert Diagnosis.objects.get().revision == 1


def test_the_page_shows_what_stands_and_keeps_it(client):
    row = reported(thickness="0.8", anchor=build.days_ago(10))
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")
    url = reverse("lesions:amend_diagnosis", args=[row.pk])
    form = client.get(url).context["form"]
    given = {name: form[name].value() or "" for name in form.fields} | {"n": "N0"}
    del given["not_known"]
    given |= {"reported_on": str(row.reported_on), "anchor": str(row.anchor), "ulceration": "unknown"}
    assert client.post(url, given | {"nodes_cleared": "unknown"}).status_code == 302
    row.refresh_from_db()
    assert (row.n, row.thickness, row.anchor) == ("N0", "0.8", build.days_ago(10))
