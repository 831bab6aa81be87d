"""Answering, correcting and a lower tier may lengthen: both days are shown first and signed (docs/domain.md, point 4)."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from clinic.access import NotAllowed
from clinic.models import AuditRecord, Policy, RiskAssessment
from clinic.people import longer_waits
from clinic.people.longer_waits import MakesLonger
from lesions.models import Diagnosis
from lesions.register import register as lesions
from lesions.results import pathology
from scheduling.planning import replan
from scheduling.recalls.longer_waits import look
from scheduling.rules.ruleset import ruleset
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
SIGN = "I have looked at both days and sign for the longer wait"
LAST_MONTH = scene.TODAY - timedelta(days=30)


def melanoma(**facts):
    build.policy_in_force("rules", ruleset.shipped("s3-germany"))
    patient = scene.melanoma(LAST_MONTH, **facts)
    return patient.diagnoses.get()


def amend(row, by=None, **fields):
    by = by or build.dermatologist()
    return pathology.amend_diagnosis(diagnosis=row, by=by, revision=row.revision, **fields)


def lower_tier(patient, by=None, **more):
    return build.risk_assessment(patient, by=by, **more)


def high(patient=None):
    patient = patient or build.patient()
    build.risk_assessment(patient, on=LAST_MONTH, gene_carrier=True)
    return patient


def refused(act, *given, **more):
    with pytest.raises(MakesLonger) as error:
        act(*given, **more)
    return error.value


def test_a_correction_that_lengthens_is_refused_with_both_days():
    """S3 rows as scheduling/rulesets/s3-germany.toml restates them: IIB every 3 months, IA every 6."""
    row = melanoma(thickness="2.5", ulceration=True)
    (wait,) = [
        one for one in refused(amend, row, thickness="0.6", ulceration=False).waits if "skin" in one.what
    ]
    assert wait.what == "Full skin check"
    assert (wait.before, wait.after) == (date(2026, 8, 18), date(2026, 11, 18))
    assert Diagnosis.objects.get().thickness == "2.5"
    assert not AuditRecord.objects.filter(action="diagnosis.amend").exists()


def test_an_answer_to_an_open_question_that_lengthens_is_refused_too():
    row = melanoma(thickness="", ulceration=None)
    waits = refused(amend, row, thickness="0.6", ulceration=False).waits
    assert any(one.what == "Full skin check" and one.after > one.before for one in waits)


def test_what_was_signed_for_stands_in_the_trail():
    row = melanoma(thickness="2.5", ulceration=True)
    asked = refused(amend, row, thickness="0.6", ulceration=False)
    row.refresh_from_db()
    amend(row, thickness="0.6", ulceration=False, signed=asked.signature)
    said = AuditRecord.objects.get(action="diagnosis.amend").details["longer"]
    assert {
        "what": "full_skin_check patient",
        "was": "2026-08-18",
        "is": "2026-11-18",
        "fewer": False,
    } in said


def test_a_signature_for_other_days_signs_nothing():
    row = melanoma(thickness="2.5", ulceration=True)
    asked = refused(amend, row, thickness="1.6", ulceration=False, code="bcc", why="read again")
    row.refresh_from_db()
    refused(amend, row, thickness="0.6", ulceration=False, signed=asked.signature)


def test_a_correction_that_shortens_or_moves_nothing_asks_nobody():
    row = melanoma(thickness="0.6", ulceration=False)
    amend(row, stage_basis="clinical")
    amend(row, thickness="2.5", ulceration=True)
    assert "longer" not in AuditRecord.objects.filter(action="diagnosis.amend").latest("pk").details


def test_a_lower_tier_is_signed_for():
    patient = high()
    (wait,) = refused(lower_tier, patient).waits
    assert (wait.what, wait.after) == ("Full skin check", None)
    assert RiskAssessment.objects.get().tier == "very_high"


def test_the_same_and_a_higher_tier_ask_nobody():
    patient = build.patient()
    build.risk_assessment(patient, on=LAST_MONTH)
    build.risk_assessment(patient, family_keratinocyte=True)
    build.risk_assessment(patient, gene_carrier=True)
    build.risk_assessment(patient, gene_carrier=True)


def test_only_a_dermatologist_signs_for_a_lower_tier():
    patient = high()
    asked = refused(lower_tier, patient)
    with pytest.raises(NotAllowed):
        lower_tier(patient, by=build.nurse(), signed=asked.signature)
    lower_tier(patient, signed=asked.signature)
    assert AuditRecord.objects.filter(action="risk.assess").latest("pk").details["longer"][0]["is"] == ""


ADDED = {
    "another melanoma": lambda patient: scene.melanoma(scene.TODAY, patient=patient),
    "a basal cell carcinoma": lambda patient: pathology.record_diagnosis(
        patient=patient, by=build.dermatologist(), code="bcc", reported_on=scene.TODAY, anchor=scene.TODAY
    ),
    "a report that says nothing": lambda patient: pathology.record_diagnosis(
        patient=patient, by=build.dermatologist(), code="melanoma", reported_on=scene.TODAY
    ),
    "a sign": lambda patient: lesions.note_sign(
        lesion=scene.mark(patient), by=build.nurse(), sign="bleeding"
    ),
    "a biopsy": lambda patient: pathology.record_procedure(
        patient=patient, by=build.dermatologist(), kind="biopsy", on=scene.TODAY, sutures=True
    ),
    "a higher tier": lambda patient: build.risk_assessment(patient, gene_carrier=True),
}


@pytest.mark.parametrize("rules_of", ["default", "s3-germany"])
@pytest.mark.parametrize("added", ADDED)
def test_adding_a_fact_never_lengthens(added, rules_of):
    build.policy_in_force("rules", ruleset.shipped(rules_of))
    patient = scene.melanoma(LAST_MONTH)
    later = look(patient)
    ADDED[added](patient)
    assert later() == []


def test_without_rules_in_force_nobody_is_asked():
    Policy.objects.filter(kind="rules").update(state="replaced")
    lower_tier(high())


def test_every_look_is_asked(monkeypatch):
    monkeypatch.setattr(longer_waits, "LOOKS", {})
    lower_tier(high())


def posted(form, **answers):
    given = {name: field.value() for name, field in ((name, form[name]) for name in form.fields)}
    return {name: "" if value is None else value for name, value in given.items()} | answers


def test_the_page_of_the_diagnosis_shows_both_days_and_takes_the_tick(signed_in):
    row = melanoma(thickness="2.5", ulceration=True)
    replan.replan_patient(row.patient_id)
    url = reverse("lesions:amend_diagnosis", args=[row.pk])
    given = posted(
        signed_in.get(url).context["form"], thickness="0.6", ulceration="false", nodes_cleared="unknown"
    )
    answer = signed_in.post(url, given)
    shown = read(answer)
    assert answer.status_code == 422
    assert "was 18 Aug 2026" in shown and "would be 18 Nov 2026" in shown and "(later)" in shown
    assert any(SIGN in box.name for box in shown.find_all("checkbox"))
    assert signed_in.post(url, given | {"signed": answer.context["signature"]}).status_code == 302
    assert Diagnosis.objects.get().thickness == "0.6"


def test_the_page_of_the_assessment_asks_a_dermatologist(client, signed_in):
    patient = high()
    url = reverse("clinic:assess_risk", args=[patient.pk])
    given = posted(signed_in.get(url).context["form"], **build.AVERAGE_ANSWERS)
    given = {name: value for name, value in given.items() if value is not False}
    answer = signed_in.post(url, given)
    assert "not asked for any more" in read(answer)
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    shown = read(client.post(url, given))
    assert "A dermatologist signs for a longer wait" in shown and SIGN not in shown
