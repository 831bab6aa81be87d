"""FACTS of schema 1: what followed a procedure stood under the patient. Old files keep their meaning and their answer."""

import json

import jsonschema
import pytest

from scheduling.rules.facts import facts, first_schema
from scheduling.rules.plan import engine
from tests.scheduling.rules.asking import DEFAULT, TODAY
from tests.scheduling.rules.build import raw
from tests.scheduling.rules.test_command import run

FACE, BACK = "36141000", "66643007"
CUTS = [
    {"id": "face", "on": "2024-05-30", "site": FACE},
    {"id": "back", "on": "2024-05-30", "site": BACK},
]
PURPOSE = {"purpose": "suture_removal", "subject": "patient"}
DONE = {"purpose": "suture_removal", "on": "2024-06-04"}


def first(**lists):
    """The same object as schema 1 wrote it."""
    written = raw(procedures=CUTS, risk={"tier": "average", "assessed_on": "2024-05-30"}, **lists) | {
        "schema": 1
    }
    del written["patient"]["risk"]["since"]
    for cut in written["procedures"]:
        del cut["sutures"]
    return written


def subjects(rows):
    return sorted(row.subject for row in rows)


def test_the_published_schema_takes_both():
    # JSON Schema 2020-12, by the jsonschema library
    for written in (first(done=[PURPOSE | {"on": "2024-06-04"}]), raw(procedures=CUTS)):
        jsonschema.validate(written, facts.schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(first() | {"schema": 3}, facts.schema())


def test_what_was_done_for_the_patient_was_done_for_every_procedure_before_that_day():
    read = facts.parse(first(done=[PURPOSE | {"on": "2024-06-04"}, PURPOSE | {"on": "2024-05-29"}]))
    assert subjects(row for row in read.done if str(row.on) == "2024-06-04") == [
        "procedure:back",
        "procedure:face",
    ]
    assert subjects(row for row in read.done if str(row.on) == "2024-05-29") == ["patient"]


def test_the_day_of_the_face_is_too_early_for_the_back():
    # clinical.md 6.3: face 3 to 5 days, back 10 to 14
    answer = engine.plan(facts.parse(first(done=[PURPOSE | {"on": "2024-06-04"}])), DEFAULT, TODAY)
    assert [due.subject for due in answer.due if due.purpose == "suture_removal"] == ["procedure:back"]


def test_what_was_closed_counts_for_the_procedures_of_that_day():
    closed = [PURPOSE | {"anchor": "2024-05-30", "on": "2024-06-01"}]
    assert subjects(facts.parse(first(closed=closed)).closed) == ["procedure:back", "procedure:face"]


def test_a_closed_date_that_a_clinician_had_set_counts_for_what_came_before_it():
    closed = [PURPOSE | {"anchor": "2024-06-13", "on": "2024-06-20"}]
    assert subjects(facts.parse(first(closed=closed)).closed) == ["procedure:back", "procedure:face"]


def test_an_override_is_for_every_procedure_that_it_can_have_meant():
    own = [PURPOSE | {"date": "2024-06-13"}, PURPOSE | {"id": "2", "interval": "P12D"}]
    read = facts.parse(first(overrides=own)).overrides
    assert subjects(read) == ["procedure:back", "procedure:back", "procedure:face", "procedure:face"]
    assert len({row.id for row in read}) == 4 and {"1", "2"} <= {row.id for row in read}


def test_a_day_that_a_clinician_set_is_answered_once_whatever_was_cut_since():
    written = first(overrides=[PURPOSE | {"date": "2024-06-20"}])
    written["procedures"][0]["on"] = "2024-06-15"
    answer = first_schema.merged(engine.plan(facts.parse(written), DEFAULT, TODAY))
    (due,) = [due for due in answer.due if due.purpose == "suture_removal"]
    assert (due.rule, str(due.target), due.subject) == ("override:1", "2024-06-20", "patient")


@pytest.mark.parametrize(
    "name, row",
    [
        ("done", {"on": "2024-06-04"}),
        ("closed", {"anchor": "2024-05-29", "on": "2024-06-01"}),
        ("overrides", {"date": "2024-06-20"}),
    ],
)
def test_what_no_procedure_explains_stays_under_the_patient(name, row):
    written = first(**{name: [PURPOSE | row]}) | {"procedures": []}
    assert subjects(getattr(facts.parse(written), name)) == ["patient"]


def test_a_day_for_a_procedure_that_is_not_on_record_is_still_planned():
    written = first(overrides=[PURPOSE | {"date": "2024-06-20"}]) | {"procedures": []}
    answer = engine.plan(facts.parse(written), DEFAULT, TODAY)
    assert [str(due.target) for due in answer.due if due.purpose == "suture_removal"] == ["2024-06-20"]


@pytest.mark.parametrize(
    "path, change",
    [
        ("procedures[0].sutures", lambda written: written["procedures"][0].update(sutures=None)),
        ("patient.risk.since", lambda written: written["patient"]["risk"].update(since=None)),
        ("done[0].subject", lambda written: written["done"].append(DONE | {"subject": "procedure:face"})),
    ],
)
def test_what_came_with_schema_2_is_no_key_of_schema_1(path, change):
    written = first()
    change(written)
    with pytest.raises(facts.UnreadableFacts) as refused:
        facts.parse(written)
    assert refused.value.path == path


def test_what_has_to_do_with_no_procedure_stays_as_it_was():
    kept = first(
        done=[{"on": "2024-06-04"}],
        closed=[{"anchor": "2024-01-31", "on": "2024-06-01"}],
        overrides=[{"interval": "P6M"}],
    )
    read = facts.parse(kept)
    assert subjects([*read.done, *read.closed, *read.overrides]) == ["patient"] * 3


@pytest.mark.parametrize("known", [{}, {"done": [PURPOSE | {"on": "2024-06-04"}]}])
def test_a_file_of_schema_1_is_answered_in_schema_1(tmp_path, known):
    path = tmp_path / "facts.json"
    path.write_text(json.dumps(first(**known)))
    answer = json.loads(run("plan", path, "--today", "2024-06-01", "--json").stdout)
    rows = [due for due in answer["due"] if due["purpose"] == "suture_removal"]
    assert (answer["schema"], [due["subject"] for due in rows]) == (1, ["patient"])
    assert rows[0]["rule"] == ("sutures-back" if known else "sutures-face")
    said = {reason["rule"] for reason in rows[0]["reasons"]}
    assert said == ({"sutures-back"} if known else {"sutures-back", "sutures-face"})
    latest = [due["latest"] for due in answer["due"]]
    assert latest == sorted(latest)


@pytest.mark.parametrize("command", ["plan", "explain"])
def test_the_sentences_of_schema_1_name_the_one_row_too(tmp_path, command):
    path = tmp_path / "facts.json"
    path.write_text(json.dumps(first()))
    said = run(command, path, "--today", "2024-06-01").stdout
    assert [line[:22] for line in said.splitlines()].count("Removal of sutures, nu") == 1
    assert "(procedure" not in said


def test_its_questions_stand_under_the_patient_too(tmp_path):
    path, written = tmp_path / "facts.json", first()
    written["procedures"][0]["site"] = "70887009"
    path.write_text(json.dumps(written))
    answer = json.loads(run("plan", path, "--today", "2024-06-01", "--json").stdout)
    assert [problem["subject"] for problem in answer["problems"] if problem["code"] == "no_rule"] == [
        "patient"
    ]
