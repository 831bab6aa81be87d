"""Facts that contradict each other or name what is not on record: problems with names (docs/domain.md, point 14)."""

from datetime import date

import pytest

from tests.scheduling.rules.asking import MELANOMA, codes, plan, row, rule_set
from tests.scheduling.rules.build import sign
from tests.scheduling.rules.sets import one_rule

ON = {"on": "2024-05-20"}
WATCHED = {"id": "1", "monitoring": "long", "since": "2024-05-01"}
SUTURES_OUT = {"purpose": "suture_removal", "subject": "procedure:1", "date": "2024-05-30"}
UNKNOWN = ("unknown_lesion", "lesion:9")


@pytest.mark.parametrize(
    "facts",
    [
        {"decisions": [ON | {"lesion": "9", "decision": "biopsy"}]},
        {"procedures": [ON | {"lesion": "9", "kind": "biopsy", "sutures": False}]},
        {"diagnoses": [{"code": "bcc", "anchor": "2024-05-20", "lesion": "9"}]},
    ],
    ids=["decision", "procedure", "diagnosis"],
)
def test_what_names_a_lesion_that_is_not_on_record_is_a_problem(facts):
    assert UNKNOWN in codes(plan(**facts, lesions=[WATCHED]))
    known = plan(**facts, lesions=[WATCHED, WATCHED | {"id": "9"}])
    assert UNKNOWN not in codes(known)


@pytest.mark.parametrize(
    "purpose, subject",
    [("lesion_image", "lesion:9"), ("node_ultrasound", "diagnosis:9"), ("wound_check", "procedure:9")],
)
def test_done_or_decided_about_what_is_not_on_record_is_a_problem(purpose, subject):
    about = {"purpose": purpose, "subject": subject}
    kind, wanted = subject.partition(":")[0], ("unknown_subject", subject)
    on_record = {
        "lesion": {"lesions": [WATCHED | {"id": "9"}]},
        "diagnosis": {"diagnoses": [{"id": "9", "code": "bcc", "anchor": "2024-05-20"}]},
        "procedure": {"procedures": [ON | {"id": "9", "sutures": False}]},
    }[kind]  # fmt: skip
    for facts in ({"done": [about | ON]}, {"overrides": [about | {"interval": "P6M"}]}):
        assert wanted in codes(plan(**facts))
        assert wanted not in codes(plan(**facts, **on_record))


@pytest.mark.parametrize(
    "decision, state, against",
    [
        ("excise", "watched", True),
        ("biopsy", "watched", True),
        ("biopsy", "biopsy_taken", True),
        ("refer", "biopsy_decided", True),
        ("excise", "biopsy_decided", False),
        ("biopsy", "biopsy_decided", False),
        ("refer", "watched", False),
        ("reassure", "watched", False),
        ("excise", "entered_in_error", False),
    ],
)
def test_what_was_decided_against_how_the_lesion_stands(decision, state, against):
    lesion = WATCHED | {"state": state}
    made = {"lesion": "1", "decision": decision} | ON
    assert (
        ("decision_against_state", "lesion:1") in codes(plan(lesions=[lesion], decisions=[made]))
    ) == against
    done = made | {"fulfilled_on": "2024-05-21"}
    assert ("decision_against_state", "lesion:1") not in codes(plan(lesions=[lesion], decisions=[done]))


def test_a_biopsy_that_nobody_decided_is_a_problem():
    lesion, wanted = {"id": "1", "state": "biopsy_decided"}, ("state_without_decision", "lesion:1")
    assert wanted in codes(plan(lesions=[lesion]))
    decided = [{"lesion": "1", "decision": "biopsy"} | ON]
    assert wanted not in codes(plan(lesions=[lesion], decisions=decided))
    assert wanted not in codes(plan(lesions=[lesion | {"state": "biopsy_taken"}]))


@pytest.mark.parametrize(
    "lesion, decided, asked",
    [
        ({}, False, True),
        ({"monitoring": "long", "since": "2024-05-01"}, False, False),
        ({"state": "removed"}, False, False),
        ({"urgent": [sign("raised", "2024-05-20")]}, False, False),
        ({"urgent": [sign("raised", "2024-05-20", "2024-05-20")]}, False, True),
        ({}, True, False),
    ],
)
def test_a_lesion_watched_by_nobody_is_a_problem(lesion, decided, asked):
    made = [{"lesion": "1", "decision": "reassure"} | ON] if decided else []
    found = codes(plan(lesions=[{"id": "1"} | lesion], decisions=made))
    assert (("watched_without_plan", "lesion:1") in found) == asked


COMING = "2024-06-02"
CHECK_IN_TIME = {"on": COMING}


@pytest.mark.parametrize(
    "facts, subject",
    [
        ({"done": [CHECK_IN_TIME]}, "patient"),
        ({"records_since": COMING}, "patient"),
        ({"risk": {"tier": "high", "assessed_on": COMING}}, "patient"),
        ({"concerns": [sign("new", COMING)]}, "patient"),
        ({"concerns": [sign("new", "2024-05-01", COMING)]}, "patient"),
        ({"lesions": [WATCHED | {"last_image_on": COMING}]}, "lesion:1"),
        ({"lesions": [WATCHED | {"since": COMING}]}, "lesion:1"),
        ({"lesions": [WATCHED], "decisions": [{"lesion": "1", "on": COMING, "months": 3}]}, "lesion:1"),
        ({"diagnoses": [{"anchor": COMING}]}, "diagnosis:1"),
        ({"diagnoses": [{"anchor": "2024-01-31", "known_on": COMING}]}, "diagnosis:1"),
        ({"procedures": [{"on": COMING}]}, "procedure:1"),
        ({"overrides": [{"interval": "P6M", "decided_on": COMING}]}, "patient"),
        ({"closed": [{"anchor": "2024-01-31", "on": COMING}]}, "patient"),
    ],
)
def test_a_day_to_come_is_a_problem_until_it_is_reached(facts, subject):
    """Today still counts as happened; the day after does not."""
    today, then = date(2024, 6, 1), date(2024, 6, 2)
    assert ("future_day", subject) in codes(plan(today=today, **facts))
    assert plan(today=today, **facts).valid_until == today
    assert "future_day" not in {code for code, _ in codes(plan(today=then, **facts))}


def kinds(answer):
    """The templates that problems are said by."""
    return {dict(problem.params).get("kind_of", problem.code) for problem in answer.problems}


SCC = {"code": "scc", "anchor": "2024-01-31", "risk_class": {"scheme": "S3", "class": "low"}}
NAEVUS = {"code": "dysplastic_naevus", "anchor": "2024-01-31"}


@pytest.mark.parametrize(
    "kind, facts, otherwise",
    [
        ("no_rule_several_scc", {"diagnoses": [SCC, SCC | {"id": "2"}]}, {"diagnoses": [SCC]}),
        (
            "no_rule_grade",
            {"diagnoses": [NAEVUS | {"grade": "severe"}]},
            {"diagnoses": [NAEVUS | {"grade": "mild"}]},
        ),
        ("grade_missing", {"diagnoses": [NAEVUS]}, {"diagnoses": [NAEVUS | {"grade": "moderate"}]}),
        (
            "no_rule_transplant",
            {"risk": {"tier": "high", "assessed_on": "2024-01-31", "transplant": True}},
            {"risk": {"tier": "high", "assessed_on": "2024-01-31", "transplant": False}},
        ),
        (
            "tier_contradicts_diagnosis",
            {"risk": {"tier": "average", "assessed_on": "2024-02-01"}, "diagnoses": [MELANOMA]},
            {"risk": {"tier": "high", "assessed_on": "2024-02-01"}, "diagnoses": [MELANOMA]},
        ),
        (
            "no_anchor_lesion",
            {"lesions": [{"monitoring": "long"}]},
            {"lesions": [{"monitoring": "long", "since": "2024-01-31"}]},
        ),
        (
            "sutures_contradiction",
            {"procedures": [ON | {"sutures": False}], "overrides": [SUTURES_OUT]},
            {"procedures": [ON | {"sutures": True}], "overrides": [SUTURES_OUT]},
        ),
    ],
)
def test_what_no_rule_answers_is_a_question_and_only_then(kind, facts, otherwise):
    assert kind in kinds(plan(**facts))
    assert kind not in kinds(plan(**otherwise))


def test_a_set_that_knows_the_grade_answers_for_it():
    asks = rule_set(one_rule(when='{ code = { is = "dysplastic_naevus" }, grade = { is = "severe" } }'))
    assert "no_rule_grade" not in kinds(plan(asks, diagnoses=[NAEVUS | {"grade": "severe"}]))


def test_an_average_tier_with_its_renewal_discharged_is_asked_about():
    """An active patient is never without an answer: nothing planned and nothing asked is itself a question."""
    renewal = {"purpose": "risk_assessment", "subject": "patient", "rule": "risk-renewal", "of": "patient"}
    closed = [renewal | {"anchor": "2024-01-31", "on": "2024-02-01", "ground": "discharge"}]
    answer = plan(risk={"tier": "average", "assessed_on": "2024-01-31"}, closed=closed)
    assert (answer.due, codes(answer)) == ((), {("nothing_planned", "patient")})


@pytest.mark.parametrize(
    "facts, counts",
    [
        ({"done": [CHECK_IN_TIME]}, False),
        ({"records_since": COMING}, False),
        ({"risk": {"tier": "high", "assessed_on": COMING}}, True),
        ({"concerns": [sign("new", COMING)]}, True),
        ({"concerns": [sign("new", "2024-05-01", COMING)]}, False),
        ({"lesions": [WATCHED | {"last_image_on": COMING}]}, False),
        ({"lesions": [WATCHED | {"since": COMING}]}, True),
        ({"lesions": [WATCHED], "decisions": [{"lesion": "1", "on": COMING, "months": 3}]}, True),
        (
            {
                "lesions": [WATCHED],
                "decisions": [{"lesion": "1", "on": "2024-05-01", "fulfilled_on": COMING}],
            },
            False,
        ),
        ({"diagnoses": [{"anchor": COMING}]}, True),
        ({"procedures": [{"on": COMING}]}, False),
        ({"closed": [{"anchor": "2024-01-31", "on": COMING}]}, False),
    ],
)
def test_a_day_to_come_says_whether_it_counts_from_today_or_not_at_all(facts, counts):
    """domain.md, 14: what opens a duty counts from today, what completes, answers or closes one not at all."""
    said = kinds(plan(today=date(2024, 6, 1), **facts)) & {"future_day", "future_day_counts"}
    assert said == {"future_day_counts" if counts else "future_day"}


@pytest.mark.parametrize("name, keys", [("done", ON), ("overrides", {"interval": "P6M"})])
def test_the_patient_is_always_on_record(name, keys):
    assert ("unknown_subject", "patient") not in codes(plan(**{name: [keys]}))


def test_a_melanoma_without_any_day_is_followed_from_each_new_day():
    today = date(2024, 6, 1)
    answer = plan(today=today, diagnoses=[{"code": "melanoma"}])
    assert (row(answer).anchor, answer.valid_until) == (today, today)


def test_a_plan_holds_until_the_eve_of_the_first_day_to_come():
    today = date(2024, 6, 1)
    done = [{"on": "2024-06-20"}, {"on": "2024-06-10"}, {"on": "2024-06-15"}]
    assert plan(today=today, done=done).valid_until == date(2024, 6, 9)
