"""The worked cases of cases.toml, each with its source, through the public functions of the core."""

import re
import tomllib
from pathlib import Path

import pytest

from scheduling.rules.plan import engine
from tests.scheduling.rules.build import build
from tests.scheduling.rules.sets import joined

CASES = tomllib.loads((Path(__file__).parent / "cases.toml").read_text(encoding="utf-8"))["case"]
KNOWN = {
    "id",
    "source",
    "ruleset",
    "spacing",
    "target",
    "rule",
    "until",
    "today",
    "targets",
    "total",
    "due",
    "problems",
    "without",
    "reasons",
}
FACTS = {"risk", "diagnoses", "lesions", "decisions", "procedures", "done", "closed", "overrides"}


def test_every_case_of_the_reference_stands_here():
    # docs/sources.md, "Dates": 20 and 21 are about pathology and efficiency, not about recalls
    assert {int(case["id"].partition(":")[0]) for case in CASES} == {*range(1, 20), 22, 23}


@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_a_case_names_whose_figures_it_holds(case):
    assert re.search(r"\b(19|20)\d\d\b|\bedition\b|AWMF|PMC\d+", case["source"])
    assert case["rule"] not in case["source"]


def with_signs(facts):
    """A sign of a case is not answered unless the case says so."""
    for lesion in facts.get("lesions", []):
        lesion["urgent"] = [{"answered_on": None} | sign for sign in lesion.get("urgent", [])]
    return facts


@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_worked_case(case):
    assert set(case) <= KNOWN | FACTS
    facts = build(**with_signs({key: value for key, value in case.items() if key in FACTS}))
    rules = joined(*case["ruleset"], spacing=case.get("spacing"), target=case.get("target"))
    assert case["rule"] in {rule.id for rule in rules.rules}

    if "targets" in case or "total" in case:
        found = engine.upcoming(facts, rules, case["today"], case["until"])
        targets = [item.target for item in found if item.rule == case["rule"]]
        assert case.get("targets", targets) == targets
        assert case.get("total", len(targets)) == len(targets)

    answer = engine.plan(facts, rules, case["today"])
    rows = answer.to_json()["due"]
    for wanted in case.get("due", []):
        assert wanted in [{key: row[key] for key in wanted} for row in rows]
    codes = {problem.code for problem in answer.problems}
    assert set(case.get("problems", [])) <= codes
    assert not set(case.get("without", [])) & codes
    if "reasons" in case:
        (row,) = [item for item in answer.due if item.purpose == case["reasons"]["purpose"]]
        assert {reason.rule for reason in row.reasons} == set(case["reasons"]["rules"])
