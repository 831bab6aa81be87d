"""Removal of sutures where no published row names the site: a question to a person, until it is answered."""

import pytest

from lesions.bodymap import REGIONS
from scheduling.rules import ruleset
from tests.scheduling.rules.asking import TODAY, codes, plan, row, rule_set
from tests.scheduling.rules.sets import one_rule

ASKED = ("no_rule", "patient")
# clinical.md 6.3 lists face, ear, lip, neck, scalp, chest, abdomen, back, arm, hand, leg and foot; none of these.
NOT_LISTED = {
    "76261009": "armpit",
    "60944009": "external genitalia",
    "48014002": "perineum",
    "22180002": "buttock",
    "70887009": "palm",
    "770809003": "nail of a finger",
    "770805009": "nail of a toe",
}


def excised(site, kind="excision", **facts):
    cut = {"kind": kind, "on": "2024-05-30", "site": site}
    return plan(procedures=[cut], risk={"tier": "high", "assessed_on": "2024-05-30"}, **facts)


@pytest.mark.parametrize("site", [region.code for region in REGIONS])
def test_every_site_of_the_chart_has_a_day_or_a_question(site):
    answer = excised(site)
    planned = {due.purpose for due in answer.due} & {"suture_removal"}
    assert (ASKED in codes(answer)) == (site in NOT_LISTED)
    assert bool(planned) == (site not in NOT_LISTED)


def test_a_site_that_was_not_recorded_gets_the_earliest_published_day_and_says_it_may_apply():
    due = row(excised(None), "suture_removal")
    assert due.rule in ("sutures-face", "sutures-ear-lip")
    assert "may apply: a fact is missing" in due.reasons[0].text


@pytest.mark.parametrize("day, asked", [("2024-05-29", True), ("2024-05-30", False), ("2024-06-01", False)])
def test_removing_them_answers(day, asked):
    done = [{"purpose": "suture_removal", "subject": "patient", "on": day}]
    assert (ASKED in codes(excised("76261009", done=done))) == asked


def test_another_thing_done_does_not_answer():
    done = [{"purpose": "wound_check", "subject": "patient", "on": "2024-06-01"}]
    assert ASKED in codes(excised("76261009", done=done))


def test_the_surgeons_instruction_at_closure_answers():
    own = {"purpose": "suture_removal", "subject": "patient", "date": "2024-06-13"}
    answer = excised("76261009", overrides=[own])
    assert ASKED not in codes(answer)
    assert str(row(answer, "suture_removal").target) == "2024-06-13"


def test_an_instruction_for_an_earlier_excision_answers_nothing():
    own = {"purpose": "suture_removal", "subject": "patient", "date": "2024-05-29"}
    assert ASKED in codes(excised("76261009", overrides=[own]))


@pytest.mark.parametrize("since, asked", [("2024-05-30", True), ("2024-05-31", False)])
def test_what_was_cut_before_the_records_begin_is_not_asked(since, asked):
    assert (ASKED in codes(excised("76261009", records_since=since))) == asked


def test_a_biopsy_is_not_asked_about():
    assert ASKED not in codes(excised("76261009", kind="biopsy"))


def test_a_set_that_plans_no_sutures_is_not_asked_about():
    wound = one_rule(
        purpose='"wound_check"',
        anchor='"procedure"',
        when='{ kind = { is = "excision" } }',
        phases='[{ every = "P2D..P3D", for = "once" }]',
        then='"end"',
        notice=None,
    )
    cut = {"kind": "excision", "on": "2024-05-30", "site": "76261009"}
    answer = plan(rule_set(wound), TODAY, procedures=[cut])
    assert ASKED not in codes(answer)
    assert ruleset.check(wound) == []
