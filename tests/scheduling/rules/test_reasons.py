"""What a plan says of each rule that is not followed just now, how urgent the row is, and until when (docs/domain.md, points 4-7).

Found by breaking the core one piece at a time (tests/bench/mutants.py).
"""

from datetime import date

import pytest

from tests.scheduling.rules.asking import CHECK, MELANOMA, codes, plan, row, rule_set
from tests.scheduling.rules.build import sign
from tests.scheduling.rules.sets import one_rule

OTHERWISE, OVER = "a clinician's own interval or day stands in its place", "its schedule is over"
TIER = {"risk": {"tier": "very_high", "assessed_on": "2024-01-31"}}
# The single examination of this rule is over with one visit; the other rule goes on.
ONCE = one_rule(id='"once"', phases='[{ every = "P1M", for = "once", early = "P5D", late = "P5D" }]', then='"end"', notice=None)  # fmt: skip


def said(answer, rule):
    (found,) = [reason.text for reason in row(answer).reasons if reason.rule == rule]
    return found


def discharged(day):
    """The row that was closed still stood on the assessment of 2023."""
    tier = {"rule": "tier-very-high", "of": "patient"}
    return CHECK | tier | {"anchor": "2023-01-31", "number": 1, "ground": "discharge", "on": day}


def interval(**keys):
    return [CHECK | {"id": "9", "interval": "P6M"} | keys]


def test_a_rule_replaced_by_an_override_says_who_decided():
    answer = plan(diagnoses=[MELANOMA], overrides=interval())
    assert row(answer).rule == "override:9"
    assert said(answer, "melanoma-invasive").endswith(OTHERWISE)


def test_a_schedule_that_is_over_says_so():
    seen = [CHECK | {"on": "2024-03-01"}]
    rules = rule_set(ONCE, one_rule())
    assert said(plan(rules, diagnoses=[MELANOMA], done=seen), "once").endswith(OVER)
    assert said(plan(rules, diagnoses=[MELANOMA], done=seen, overrides=interval()), "once").endswith(OVER)


def test_a_discharged_tier_is_over_beside_a_diagnosis_that_goes_on():
    later = MELANOMA | {"anchor": "2024-02-15"}
    answer = plan(**TIER, diagnoses=[later], closed=[discharged("2024-03-01")])
    (tier,) = [reason for reason in row(answer).reasons if reason.rule != "melanoma-invasive"]
    assert row(answer).anchor == date(2024, 2, 15) and tier.text.endswith(OVER)


@pytest.mark.parametrize(
    "days, goes_on",
    [
        ([], True),
        (["2024-01-30"], True),
        (["2024-01-31"], False),
        (["2024-03-01"], False),
        (["2023-05-01", "2024-03-01"], False),  # the last one counts
    ],
)
def test_a_discharge_ends_a_tier_that_was_assessed_again_before_it(days, goes_on):
    purposes = {due.purpose for due in plan(**TIER, closed=[discharged(day) for day in days]).due}
    assert ("full_skin_check" in purposes) == goes_on


def test_an_override_is_a_reason_if_it_put_off_one_rule_of_two():
    bcc = {"id": "2", "code": "bcc", "anchor": "2024-01-31"}
    answer = plan(diagnoses=[MELANOMA, bcc], overrides=interval(interval="P2Y", until="2024-12-31"))
    assert [reason.rule for reason in row(answer).reasons] == ["melanoma-invasive", "bcc", "override:9"]


def test_a_decision_before_the_planned_picture_leaves_open_what_follows():
    lesion = {"id": "7", "monitoring": "short", "since": "2024-01-31"}
    early = {"lesion": "7", "decision": "reassure", "on": "2024-02-15"}
    assert ("what_follows", "lesion:7") in codes(plan(lesions=[lesion], decisions=[early]))


def test_the_decision_that_began_the_watch_does_not_say_what_follows_it():
    lesion = {"id": "7", "monitoring": "short", "since": "2024-01-31"}
    picture = {
        "purpose": "lesion_image", "subject": "lesion:7", "rule": "monitoring-short", "of": "lesion:7",
        "anchor": "2024-01-31", "number": 1,
    }  # fmt: skip
    declined = [picture | {"ground": "declined", "on": "2024-05-01"}]
    asked = {}
    for day in ("2024-01-31", "2024-02-01"):
        decision = {"lesion": "7", "decision": "reassure", "on": day}
        asked[day] = ("what_follows", "lesion:7") in codes(
            plan(lesions=[lesion], decisions=[decision], closed=declined)
        )
    assert asked == {"2024-01-31": True, "2024-02-01": False}


@pytest.mark.parametrize("of_the_first, of_the_second", [("B", "C"), ("C", "B"), ("A", "C")])
def test_a_row_is_as_urgent_as_the_most_urgent_of_its_rules(of_the_first, of_the_second):
    # A before B before C: clinic setting, no source
    yearly = '[{ every = "P1Y", for = "P5Y", early = "P60D", late = "P60D" }]'
    rules = rule_set(
        one_rule(urgency=f'"{of_the_first}"'),
        one_rule(id='"slow"', urgency=f'"{of_the_second}"', phases=yearly),
    )
    assert row(plan(rules, diagnoses=[MELANOMA])).urgency == min(of_the_first, of_the_second)


def test_an_urgent_sign_is_examined_within_two_weeks():
    # NICE NG12: suspected melanoma, an appointment within 2 weeks
    lesion = {"id": "7", "urgent": [sign("firm", "2024-05-20")]}
    found = row(plan(lesions=[lesion]), "lesion_examination", "lesion:7")
    assert (found.target, found.latest, found.urgency) == (date(2024, 5, 20), date(2024, 6, 3), "A")


def test_the_plan_holds_until_the_eve_of_the_first_question_to_come():
    # two years after each, three months ahead of the end: the first asks from 2025-10-31 on, the second from 2025-12-31
    later = MELANOMA | {"id": "2", "anchor": "2024-03-31"}
    assert plan(diagnoses=[MELANOMA, later]).valid_until == date(2025, 10, 30)


def test_a_schedule_travels_as_a_code_and_is_written_by_the_wording():
    (reason,) = row(plan(diagnoses=[MELANOMA])).reasons
    assert dict(reason.params)["schedule"] == "P3M/P2Y"
    assert reason.text.endswith("every 3 months for 2 years")
