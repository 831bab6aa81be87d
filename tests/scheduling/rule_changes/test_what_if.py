"""What would happen to this patient: the shipped clinic set asked about facts that nobody has.

The days expected are those of that set (docs/sources.md).
"""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import policies
from clinic.models import AuditRecord, ReadRecord
from clinic.tally import tally
from scheduling.models import Plan, PlanProblem, Recall
from scheduling.planning.gather import gather_facts
from scheduling.rule_changes import what_if
from scheduling.rule_changes.what_if import NOBODY, CannotSuppose, Supposition
from scheduling.rules.ruleset import ruleset
from tests import build
from tests.page import read
from tests.scheduling import scene
from tests.scheduling.rule_changes.test_preview import FIRST

RULES = ruleset.load(ruleset.shipped("default"))
MARCH = date(2026, 3, 15)
URL = "/rules/suppose/"


def asked(known=NOBODY, **given):
    supposed = what_if.suppose(known, Supposition(**given), scene.TODAY)
    return what_if.answer(supposed, RULES, scene.TODAY)


def due(found):
    return {(line.due.purpose, line.due.subject): line for line in found.lines}


def test_a_melanoma_is_checked_every_three_months_for_two_years():
    """The shipped clinic set, first phase; dates by the calendar from the excision on."""
    line = due(asked(code="melanoma", anchor=MARCH, thickness="0.8"))["full_skin_check", "patient"]
    assert (line.due.earliest, line.due.target, line.due.latest) == (
        date(2026, 6, 1),
        date(2026, 6, 15),
        date(2026, 6, 29),
    )
    assert line.then[:3] == (date(2026, 9, 15), date(2026, 12, 15), date(2027, 3, 15))
    assert line.then[-1] == date(2028, 3, 15) and len(line.then) == 7
    assert line.due.reasons[0].source and "every 3 months" in line.due.reasons[0].text


def test_the_strip_shows_two_years_with_the_next_one_filled():
    strip = asked(code="melanoma", anchor=MARCH, thickness="0.8").strip
    assert strip.end == scene.TODAY + timedelta(days=731)
    checks = [bar for bar in strip.windows if bar.label.startswith("full skin check")]
    assert [bar.kind for bar in checks] == ["open", *["planned"] * 7]
    assert [mark.text for mark in strip.marks] == ["melanoma 15 Mar 2026"]


def test_what_is_not_known_is_asked_and_never_guessed():
    """docs/domain.md, point 6: missing anchor, missing risk assessment."""
    assert {one.code for one in asked(code="bcc").problems} >= {"no_anchor"}
    assert {one.code for one in asked().problems} == {"risk_assessment_missing"}


def test_a_tier_a_watch_a_sign_and_what_is_done_today():
    """Short-term monitoring: a picture after three months (the shipped set); a firm lesion gets no interval."""
    since = date(2026, 6, 1)
    found = due(asked(tier="high", monitoring="short", since=since))
    assert found["lesion_image", "lesion:supposed"].due.target == date(2026, 9, 1)
    assert found["full_skin_check", "patient"].due.rule == "tier-high"
    urgent = due(asked(tier="high", monitoring="short", sign="firm"))
    assert ("lesion_image", "lesion:supposed") not in urgent
    assert urgent["lesion_examination", "lesion:supposed"].due.urgency == "A"
    melanoma = {"code": "melanoma", "anchor": MARCH, "thickness": "0.8"}
    done = due(asked(**melanoma, done=("full_skin_check",)))["full_skin_check", "patient"]
    assert done.due.target == date(2026, 9, 15)


def kinds(found):
    return {dict(one.params).get("kind_of", one.code) for one in found.problems}


def test_transplant_several_carcinomas_and_severe_naevus_are_asked_about():
    """The shipped set has no row for these three (from memory: no published interval is agreed); the core says so."""
    carcinoma = {"code": "scc", "anchor": MARCH, "risk_class": "low"}
    assert "no_rule_transplant" in kinds(asked(tier="high", transplant=True))
    assert "no_rule_transplant" not in kinds(asked(tier="high", transplant=False))
    assert "no_rule_several_scc" in kinds(asked(**carcinoma, how_many=2))
    assert "no_rule_several_scc" not in kinds(asked(**carcinoma, how_many=1))
    naevus = {"code": "dysplastic_naevus", "anchor": MARCH}
    assert "no_rule_grade" in kinds(asked(**naevus, grade="severe"))
    assert "no_rule_grade" not in kinds(asked(**naevus, grade="mild"))


def test_a_transplant_is_supposed_beside_the_tier_on_record(rules):
    patient = build.patient()
    known = gather_facts(build.risk_assessment(patient, on=MARCH).patient)
    with_it = what_if.suppose(known, Supposition(transplant=True), scene.TODAY).patient.risk
    assert (with_it.transplant, with_it.tier, with_it.assessed_on) == (
        True, known.patient.risk.tier, MARCH,
    )  # fmt: skip
    assert what_if.suppose(known, Supposition(), scene.TODAY) == known


def test_a_lesion_on_the_face_is_watched_longer():
    """Dermoscopedia, Short Term Monitoring: lentigo maligna, 6 to 12 months; in the shipped set the whole face."""
    watched = {"monitoring": "short", "since": MARCH, "tier": "high"}
    assert due(asked(**watched))["lesion_image", "lesion:supposed"].due.rule == "monitoring-short"
    rules = {
        one.rule
        for one in due(asked(**watched, region="face"))["lesion_image", "lesion:supposed"].due.reasons
    }
    assert "monitoring-face" in rules


def test_a_deposit_in_the_sentinel_node_settles_the_row():
    """NHSScotland 2022, IIIA: 1 mm parts two rows of surveillance; unstated, the stricter one and a question."""
    scotland = ruleset.load(ruleset.shipped("scotland-2022"))
    melanoma = {"code": "melanoma", "anchor": MARCH, "stage": "IIIA", "stage_basis": "pathological"}

    def certain(**given):
        supposed = what_if.suppose(NOBODY, Supposition(**melanoma, **given), scene.TODAY)
        reasons = due(what_if.answer(supposed, scotland, scene.TODAY))[
            "full_skin_check", "patient"
        ].due.reasons
        return {one.rule for one in reasons if dict(one.params).get("certain") is not False}

    assert certain(sentinel="positive", deposit_mm="0.6") != certain(sentinel="positive", deposit_mm="1.2")
    assert certain(sentinel="positive") == set()


@pytest.mark.parametrize(
    ("given", "part", "words"),
    [
        ({"code": "melanoma", "thickness": "thick"}, "thickness", "millimetres as typed"),
        ({"thickness": "0.8"}, "code", "Choose which diagnosis"),
        ({"ulceration": False}, "code", "Choose which diagnosis"),
        ({"how_many": 2}, "code", "Choose which diagnosis"),
        ({"nodes_cleared": False}, "code", "Choose which diagnosis"),
        ({"code": "melanoma", "anchor": MARCH, "deposit_mm": "small"}, "deposit_mm", "millimetres"),
        ({"since": MARCH}, "monitoring", "short or a long time"),
        ({"region": "face"}, "monitoring", "short or a long time"),
        ({"transplant": True}, "tier", "fact of the risk assessment"),
    ],
)
def test_what_cannot_be_supposed_is_said(given, part, words):
    with pytest.raises(CannotSuppose, match=words) as refused:
        asked(**given)
    assert refused.value.part == part


@pytest.fixture
def nurse(client, rules):
    member = build.nurse()
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    client.member = member
    return client


def page(client, status=200, **query):
    answer = client.get(URL, query)
    assert answer.status_code == status
    return read(answer)


def counts():
    models = (AuditRecord, Recall, Plan, PlanProblem)
    return [model.objects.count() for model in models]


def test_a_patient_stands_beside_the_plan_without_it_unwritten(nurse):
    patient = scene.due_check().patient
    revision, before = patient.facts_revision, counts()
    shown = page(nurse, number=patient.number.lower(), done="full_skin_check")
    assert f"What would happen to {patient}" in shown and "as it is now" in shown, "the risk assessment stays"
    assert "now between 1 Jun 2026 and 29 Jun 2026" in shown and "target 15 Sep 2026" in shown
    patient.refresh_from_db()
    assert (patient.facts_revision, counts()) == (revision, before)
    assert ReadRecord.objects.get(patient=patient, page="suppose").by == nurse.member


def test_a_lesion_that_nobody_has_is_named_as_such(nurse):
    shown = page(nurse, monitoring="short", tier="average")
    assert "Picture of a lesion: the supposed lesion" in shown and "Urgency B, surveillance" in shown


def test_the_page_offers_a_transplant_and_says_what_no_rule_answers(nurse):
    shown = page(nurse, tier="high", transplant="true")
    assert shown.offered("transplant") == ["unknown", "true", "false"]
    assert "No published interval is known for the skin checks after a transplant" in shown
    assert "A transplant is a fact of the risk assessment" in page(nurse, status=422, transplant="true")


def test_of_two_supposed_tumours_each_is_named(nurse):
    shown = page(nurse, code="scc", anchor="2026-03-15", how_many="2", tier="high")
    assert "after 2 squamous cell carcinomas" in shown and "supposed-2" not in shown


def test_a_duty_that_would_fall_away_is_named(nurse):
    """After a firm sign the lesion gets no picture interval: docs/domain.md, point 8."""
    patient = build.patient()
    build.risk_assessment(patient)
    scene.mark(patient, monitoring="short", since=scene.TODAY)
    head, *rest = ruleset.shipped("default").split("[[rule]]")
    kept = [one for one in rest if 'id = "monitoring-short"' not in one]
    draft = policies.draft(kind="rules", toml="[[rule]]".join([head, *kept]), by=None)
    shown = page(nurse, number=patient.number, rules=draft.pk)
    assert "No longer asked for" in shown and "Picture of a lesion: lesion 1" in shown
    assert "No rule of the set applies" in shown


def test_a_draft_is_asked_before_anybody_proposes_it(nurse):
    patient = scene.due_check().patient
    text = ruleset.shipped("default").replace(FIRST, FIRST.replace("P3M", "P6M"))
    draft = policies.draft(kind="rules", toml=text, by=None)
    shown = page(nurse, number=patient.number, rules=draft.pk)
    assert f"Under rule set {draft.version}, draft" in shown and "target 15 Sep 2026" in shown


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"number": "QD-99999"}, "No record has this number."),
        ({"code": "melanoma", "thickness": "thick"}, "millimetres as typed"),
        ({"code": "melanoma", "anchor": "2126-01-01"}, "lies in the future"),
        ({"rules": "999"}, "Select a valid choice"),
    ],
)
def test_bad_input_is_named_and_stays_in_the_form(nurse, query, words):
    shown = page(nurse, status=422, **query)
    assert words in shown and "There is no answer to this yet" in shown
    name, value = list(query.items())[-1]
    assert name == "rules" or shown.offered(name) == [value]
    assert not ReadRecord.objects.exists()


def test_without_rules_one_is_asked_for(client, db):
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    assert "No rules are in force: choose one" in page(client, status=422, tier="high")


def test_a_merged_record_leads_to_the_one_that_stands(nurse):
    patient, gone = scene.due_check().patient, build.patient()
    type(gone).objects.filter(pk=gone.pk).update(merged_into=patient)
    assert f"What happens to {patient}" in page(nurse, number=gone.number)


def test_the_rules_and_the_patient_lead_there(nurse):
    patient = scene.due_check().patient
    assert read(nurse.get(reverse("scheduling:rules"))).leads_to(URL)
    page = read(nurse.get(reverse("clinic:patient", args=[patient.pk])))
    assert page.leads_to(f"{URL}?number={patient.number}")


def test_a_long_history_asks_no_more_questions(nurse):
    patient = scene.due_check().patient

    def counted():
        with CaptureQueriesContext(connection) as found:
            page(nurse, number=patient.number, code="bcc", anchor="2026-06-01")
        return len(found)

    scene.mark(patient, monitoring="short")
    counted()
    one = counted()
    for _ in range(2):
        scene.mark(patient, monitoring="short"), scene.came(patient, scene.TODAY)
    tally.keep()  # as the request does that writes them
    assert counted() == one <= 30


def test_what_is_supposed_is_what_the_plan_says_once_it_is_true(rules):
    """The page and the plan share the core: supposed today, recorded today, the same windows."""
    patient = build.patient()
    build.risk_assessment(patient, on=scene.TODAY)
    given = {"code": "melanoma", "anchor": MARCH, "thickness": "0.6", "ulceration": False}
    more = {"n": "N0", "m": "M0", "stage_basis": "pathological"}
    foretold = due(asked(gather_facts(patient), **given, **more))["full_skin_check", "patient"].due
    recall = scene.check_of(scene.melanoma(MARCH, patient=patient))
    assert (recall.earliest, recall.target, recall.latest) == (
        foretold.earliest,
        foretold.target,
        foretold.latest,
    )
    assert recall.rule == foretold.rule
