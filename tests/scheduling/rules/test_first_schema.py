"""FACTS of schema 1: what followed a procedure stood under the patient. Old files keep their meaning and their answer."""

import json

import jsonschema
import pytest

from scheduling.rules import engine, facts
from tests.scheduling.rules.asking import DEFAULT, TODAY
from tests.scheduling.rules.build import raw
from tests.scheduling.rules.test_command import run

FACE, BACK = "36141000", "66643007"
CUTS = [
    {"id": "face", "on": "2024-05-30", "site": FACE},
    {"id": "back", "on": "2024-05-30", "site": BACK},
]
PURPOSE = {"purpose": "suture_removal", "subject": "patient"}


def first(**lists):
    """The same object as schema 1 wrote it."""
    written = raw(procedures=CUTS, risk={"tier": "average", "assessed_on": "2024-05-30"}, **lists) | {
        "schema": 1
    }
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
    assert subjects(read.done) == ["procedure:back", "procedure:face"]
    assert {str(row.on) for row in read.done} == {"2024-06-04"}


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
    assert facts.parse(first(closed=[closed[0] | {"anchor": "2024-05-29"}])).closed == ()


def test_an_override_is_for_the_last_procedure_before_it():
    own = [PURPOSE | {"date": "2024-06-13"}, PURPOSE | {"id": "2", "interval": "P12D"}]
    assert subjects(facts.parse(first(overrides=own)).overrides) == ["procedure:face", "procedure:face"]
    assert facts.parse(first(overrides=[PURPOSE | {"date": "2024-05-29"}])).overrides == ()


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


def test_its_questions_stand_under_the_patient_too(tmp_path):
    path, written = tmp_path / "facts.json", first()
    written["procedures"][0]["site"] = "70887009"
    path.write_text(json.dumps(written))
    answer = json.loads(run("plan", path, "--today", "2024-06-01", "--json").stdout)
    assert [problem["subject"] for problem in answer["problems"] if problem["code"] == "no_rule"] == [
        "patient"
    ]
