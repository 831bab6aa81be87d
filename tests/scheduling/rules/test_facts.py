"""FACTS, schema 2: what is unknown is refused with its path, what is known survives the way there and back."""

import copy
import json
from datetime import date
from pathlib import Path

import jsonschema
import pytest

from scheduling.rules.facts import codec, contradictions, facts
from tests.scheduling.rules.build import raw, sign

FULL = raw(
    born="1970-02-28",
    risk={"tier": "high", "assessed_on": "2025-01-01", "since": "2024-01-01"},
    records_since="2020-01-01",
    diagnoses=[
        {"anchor": "2024-01-31", "thickness": ">=0.8", "risk_class": {"scheme": "S3", "class": "high"}}
    ],
    lesions=[{"since": "2025-01-01", "urgent": [sign("raised", "2025-01-02")]}],
    decisions=[{"on": "2025-01-03", "months": 3}],
    procedures=[{"on": "2025-01-04", "sutures": False}],
    done=[{"on": "2025-01-05"}],
    closed=[{"rule": "bcc", "of": "diagnosis:1", "anchor": "2024-01-31", "on": "2025-01-06"}],
    concerns=[sign("growing", "2025-01-07", id="c1")],
    overrides=[{"interval": "P6M"}, {"id": "2", "date": "2026-01-01"}],
)
SCHEMA_FILE = Path(facts.__file__).with_name("facts.schema.json")


def test_there_and_back():
    read = facts.parse(FULL)
    assert read.diagnoses[0].risk_class.class_ == "high"
    assert read.lesions[0].urgent[0].on == date(2025, 1, 2)
    written = json.loads(json.dumps(facts.to_json(read)))
    assert facts.parse(written) == read
    assert facts.to_json(facts.parse(written)) == written


def test_the_published_schema_is_the_generated_one():
    assert json.loads(SCHEMA_FILE.read_text(encoding="utf-8")) == facts.schema()


def test_the_schema_accepts_what_the_core_writes():
    jsonschema.Draft202012Validator.check_schema(facts.schema())
    jsonschema.validate(facts.to_json(facts.parse(FULL)), facts.schema())


def changed(path, value):
    data, keys = copy.deepcopy(FULL), path.replace("[", ".").replace("]", "").split(".")
    place = data
    for key in keys[:-1]:
        place = place[int(key)] if key.isdigit() else place[key]
    place[keys[-1]] = value
    return data


REFUSED = [
    ("colour", 1),
    ("patient.colour", 1),
    ("diagnoses[0].colour", 1),
    ("diagnoses[0].risk_class.colour", 1),
    ("lesions[0].urgent[0].colour", 1),
    ("schema", 0),
    ("schema", 3),
    ("schema", True),
    ("patient", None),
    ("patient", []),
    ("diagnoses", {}),
    ("patient.status", "asleep"),
    ("patient.status", None),
    ("patient.status", ["active"]),
    ("patient.risk.tier", "medium"),
    ("patient.risk.since", "2025-01-02"),
    ("diagnoses[0].code", "mole"),
    ("diagnoses[0].n", "N4"),
    ("diagnoses[0].m", "M2"),
    ("diagnoses[0].stage", "V"),
    ("diagnoses[0].thickness", 0.8),
    ("diagnoses[0].thickness", "0,8"),
    ("diagnoses[0].thickness", "-1"),
    ("diagnoses[0].invasive", "yes"),
    ("diagnoses[0].invasive", 1),
    ("diagnoses[0].id", 7),
    ("diagnoses[0].id", ""),
    ("diagnoses[0].anchor", "31.01.2024"),
    ("diagnoses[0].anchor", "2023-02-29"),
    ("diagnoses[0].anchor", "20240131"),
    ("diagnoses[0].anchor", "1024-01-31"),
    ("lesions[0].state", "well"),
    ("lesions[0].urgent[0].sign", "ugly"),
    ("decisions[0].decision", "wait"),
    ("decisions[0].months", 0),
    ("decisions[0].months", 121),
    ("decisions[0].months", 1.5),
    ("procedures[0].kind", "shave"),
    ("procedures[0].sutures", "none"),
    ("done[0].purpose", "tea"),
    ("done[0].subject", "diagnosis:1"),
    ("done[0].subject", "patient:1"),
    ("done[0].subject", "procedure:1"),
    ("done[0].on", None),
    ("closed[0].ground", "bored"),
    ("closed[0].number", 0),
    ("overrides[0].interval", "6 months"),
    ("overrides[0].interval", "P0D"),
    ("overrides[1].id", "1"),
]


@pytest.mark.parametrize("path, value", REFUSED, ids=[f"{path}={value}" for path, value in REFUSED])
def test_what_breaks_the_schema_is_refused_with_its_path(path, value):
    with pytest.raises(facts.UnreadableFacts) as refused:
        facts.parse(changed(path, value))
    assert refused.value.path == path
    assert refused.value.in_words()


def test_a_missing_key_is_not_an_unknown_value():
    # docs/interfaces.md: unknown value = null, never absent
    data = copy.deepcopy(FULL)
    del data["diagnoses"][0]["ulceration"]
    with pytest.raises(facts.UnreadableFacts) as refused:
        facts.parse(data)
    assert refused.value.path == "diagnoses[0].ulceration"


@pytest.mark.parametrize("given", [{}, {"interval": "P6M", "date": "2026-01-01"}])
def test_an_override_is_an_interval_or_a_date(given):
    with pytest.raises(facts.UnreadableFacts) as refused:
        facts.parse(raw(overrides=[given]))
    assert refused.value.path == "overrides[0]"


@pytest.mark.parametrize("value", [None, [], "facts", 1])
def test_something_else_than_an_object(value):
    with pytest.raises(facts.UnreadableFacts):
        facts.parse(value)


@pytest.mark.parametrize("path", ["procedures[0].sutures", "patient.risk.since"])
def test_no_key_of_its_schema_may_be_absent(path):
    written = copy.deepcopy(FULL)
    place, key = (
        (written["procedures"][0], "sutures")
        if "procedures" in path
        else (written["patient"]["risk"], "since")
    )
    del place[key]
    with pytest.raises(facts.UnreadableFacts) as refused:
        facts.parse(written)
    assert refused.value.path == path


# interfaces.md and domain.md, "what is owed": what each purpose may be about
ABOUT = {
    "full_skin_check": {"patient"},
    "risk_assessment": {"patient"},
    "rest_of_skin_check": {"patient"},
    "lesion_image": {"lesion"},
    "lesion_examination": {"lesion", "patient"},
    "result_visit": {"procedure", "patient"},
    "wound_check": {"procedure", "patient"},
    "suture_removal": {"procedure", "patient"},
    "node_examination": {"patient", "diagnosis", "lesion", "procedure"},
}
SUBJECTS = {
    "patient": "patient",
    "lesion": "lesion:1",
    "diagnosis": "diagnosis:1",
    "procedure": "procedure:1",
}


@pytest.mark.parametrize("purpose", ABOUT)
@pytest.mark.parametrize("kind", SUBJECTS)
@pytest.mark.parametrize(
    "name, keys",
    [
        ("done", {"on": "2025-01-05"}),
        ("closed", {"anchor": "2024-01-31", "on": "2025-01-06"}),
        ("overrides", {"interval": "P6M"}),
    ],
)
def test_each_purpose_is_about_its_own_kind_of_subject(purpose, kind, name, keys):
    """A completion under another subject would silently complete nothing."""
    given = raw(**{name: [keys | {"purpose": purpose, "subject": SUBJECTS[kind]}]})
    if kind in ABOUT[purpose]:
        assert getattr(facts.parse(given), name)[0].subject == SUBJECTS[kind]
        return
    with pytest.raises(facts.UnreadableFacts) as refused:
        facts.parse(given)
    assert refused.value.path == f"{name}[0].subject"


@pytest.mark.parametrize(
    "purpose, kind",
    [
        ("full_skin_check", "patient"),
        ("risk_assessment", "patient"),
        ("lesion_image", "lesion"),
        ("lesion_examination", "lesion"),
        ("wound_check", "procedure"),
        ("laboratory", "diagnosis"),
    ],
)
def test_what_a_rule_plans_each_purpose_for(purpose, kind):
    assert contradictions.subject_of(purpose) == kind


def test_a_text_may_be_as_long_as_its_limit():
    limit = codec.MOST_CHARACTERS
    assert (
        len(facts.parse(raw(overrides=[{"interval": "P6M", "reason": "x" * limit}])).overrides[0].reason)
        == limit
    )
    with pytest.raises(facts.UnreadableFacts, match=f"longer than {limit}"):
        facts.parse(raw(overrides=[{"interval": "P6M", "reason": "x" * (limit + 1)}]))


@pytest.mark.parametrize("value", [1, 120, 121, 0])
def test_months_run_from_one_to_ten_years(value):
    given = raw(decisions=[{"on": "2025-01-03", "months": value}])
    if 1 <= value <= 120:
        assert facts.parse(given).decisions[0].months == value
    else:
        with pytest.raises(facts.UnreadableFacts, match="out of range"):
            facts.parse(given)


@pytest.mark.parametrize(
    "day, is_read",
    [
        ("1850-01-01", True),
        ("1849-12-31", False),
        ("2200-12-31", True),
        ("2201-01-01", False),
    ],
)
def test_days_run_from_1850_to_2200(day, is_read):
    given = raw(lesions=[{"since": day}])
    if is_read:
        assert facts.parse(given).lesions[0].since.isoformat() == day
    else:
        with pytest.raises(facts.UnreadableFacts, match="is not between"):
            facts.parse(given)
