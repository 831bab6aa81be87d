"""Removal of sutures where no published row names the site: a question to a person, until it is answered.

Days are those of the two published tables below; that somebody is asked elsewhere is this program's own rule, no source.
"""

import pytest

from lesions.register.bodymap import REGIONS
from scheduling.rules.ruleset import ruleset
from tests.scheduling.rules.asking import TODAY, codes, plan, row, rule_set
from tests.scheduling.rules.sets import one_rule

ASKED = ("no_rule", "procedure:1")
# Trott, Wounds and Lacerations, 1991, and 5-Minute Consult, Recommended suture removal times, list the face, ear, lip, neck,
# scalp, chest, abdomen (trunk), back, arm, hand, leg and foot; none of these.
NOT_LISTED = {
    "76261009": "armpit",
    "60944009": "external genitalia",
    "48014002": "perineum",
    "22180002": "buttock",
    "70887009": "palm",
    "770809003": "nail of a finger",
    "770805009": "nail of a toe",
    "76552005": "shoulder",
    "244169007": "finger",
    "181553006": "knee, front",
    "84507004": "knee, back",
    "57999000": "sole",
}


def excised(site, kind="excision", sutures=None, **facts):
    cut = {"kind": kind, "on": "2024-05-30", "site": site, "sutures": sutures}
    return plan(procedures=[cut], risk={"tier": "high", "assessed_on": "2024-05-30"}, **facts)


@pytest.mark.parametrize("site", [region.code for region in REGIONS])
def test_every_site_of_the_chart_has_a_day_or_a_question(site):
    answer = excised(site)
    planned = {due.purpose for due in answer.due} & {"suture_removal"}
    assert (ASKED in codes(answer)) == (site in NOT_LISTED)
    assert bool(planned) == (site not in NOT_LISTED)


def test_a_site_that_was_not_recorded_is_a_question_and_no_day():
    answer = excised(None)
    assert ("sutures_site_unknown", "procedure:1") in codes(answer)
    assert "suture_removal" not in {due.purpose for due in answer.due}


def test_unrecorded_sutures_after_a_biopsy_are_a_question_and_no_day():
    answer = excised("36141000", kind="biopsy")
    assert ("sutures_unknown", "procedure:1") in codes(answer)
    assert "suture_removal" not in {due.purpose for due in answer.due}
    settled = [{"purpose": "suture_removal", "subject": "procedure:1", "on": "2024-06-01"}]
    assert ("sutures_unknown", "procedure:1") not in codes(excised("36141000", kind="biopsy", done=settled))


@pytest.mark.parametrize("day, asked", [("2024-05-29", True), ("2024-05-30", False), ("2024-06-01", False)])
def test_removing_them_answers(day, asked):
    done = [{"purpose": "suture_removal", "subject": "procedure:1", "on": day}]
    assert (ASKED in codes(excised("76261009", done=done))) == asked


def test_another_thing_done_does_not_answer():
    done = [{"purpose": "wound_check", "subject": "procedure:1", "on": "2024-06-01"}]
    assert ASKED in codes(excised("76261009", done=done))


def test_the_surgeons_instruction_at_closure_answers():
    own = {"purpose": "suture_removal", "subject": "procedure:1", "date": "2024-06-13"}
    answer = excised("76261009", overrides=[own])
    assert ASKED not in codes(answer)
    assert str(row(answer, "suture_removal").target) == "2024-06-13"


@pytest.mark.parametrize("since, asked", [("2024-05-30", True), ("2024-05-31", False)])
def test_what_was_cut_before_the_records_begin_is_not_asked(since, asked):
    assert (ASKED in codes(excised("76261009", records_since=since))) == asked


def test_a_biopsy_is_asked_about_only_where_it_left_sutures():
    for sutures, asked in ((None, False), (False, False), (True, True)):
        assert (ASKED in codes(excised("76261009", kind="biopsy", sutures=sutures))) == asked


def test_a_biopsy_that_left_sutures_has_the_day_of_its_site():
    # 5-Minute Consult, Procedures, Recommended suture removal times, and Trott, Wounds and Lacerations, 1991: face 3 to 5 days
    due = row(excised("36141000", kind="biopsy", sutures=True), "suture_removal")
    assert (str(due.earliest), str(due.latest)) == ("2024-06-02", "2024-06-04")


@pytest.mark.parametrize("site", ["76261009", "36141000"])
def test_where_nothing_is_left_to_remove_nothing_is_planned_nor_asked(site):
    answer = excised(site, sutures=False)
    assert ASKED not in codes(answer)
    assert {due.purpose for due in answer.due} & {"suture_removal"} == set()
    assert row(answer, "wound_check")


PALM, FACE = (
    {"id": name, "on": "2024-05-30", "site": site}
    for name, site in (("palm", "70887009"), ("face", "36141000"))
)
PALM_ASKED = ("no_rule", "procedure:palm")


def removed(name, day="2024-06-04"):
    return {"purpose": "suture_removal", "subject": f"procedure:{name}", "on": day}


def test_of_two_excisions_of_a_day_the_one_does_not_answer_for_the_other():
    both = [PALM, FACE]
    assert PALM_ASKED in codes(plan(procedures=both))
    assert PALM_ASKED in codes(plan(procedures=both, done=[removed("face")]))
    done = plan(procedures=both, done=[removed("palm")])
    assert PALM_ASKED not in codes(done)
    assert row(done, "suture_removal").subject == "procedure:face"


def test_an_instruction_for_the_one_leaves_the_day_of_the_other():
    own = {"purpose": "suture_removal", "subject": "procedure:palm", "date": "2024-06-13"}
    answer = plan(procedures=[PALM, FACE], overrides=[own])
    days = {due.subject: str(due.target) for due in answer.due if due.purpose == "suture_removal"}
    assert days == {"procedure:palm": "2024-06-13", "procedure:face": "2024-06-04"}


def test_an_interval_set_for_one_excision_answers_no_other():
    both = [PALM, PALM | {"id": "sole", "site": "57999000"}]
    own = {"purpose": "suture_removal", "subject": "procedure:sole", "interval": "P12D"}
    assert PALM_ASKED in codes(plan(procedures=both, overrides=[own]))


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


def test_a_day_for_sutures_of_which_none_were_left_is_a_contradiction():
    own = {"purpose": "suture_removal", "subject": "procedure:1", "date": "2024-06-13"}
    answer = excised("36141000", sutures=False, overrides=[own])
    assert ("override_contradiction", "procedure:1") in codes(answer)
    assert ("override_contradiction", "procedure:1") not in codes(excised("36141000", overrides=[own]))
