"""What the plan says, point by point of docs/domain.md ("Facts in, plan out").

Intervals are those of the shipped sets, whose publications docs/sources.md names. How visits, discharges and own intervals
count, and how early or late a visit may be, is this program's own rule: clinic setting, no source, where nothing is said.
"""

from datetime import date

import pytest

from scheduling.rules.facts.facts import Risk
from scheduling.rules.plan import engine
from scheduling.rules.ruleset import ruleset
from tests.scheduling.rules.asking import (
    CHECK,
    DEFAULT,
    MELANOMA,
    TODAY,
    YEARS,
    by_attendance,
    codes,
    plan,
    row,
    rule_set,
)
from tests.scheduling.rules.build import build
from tests.scheduling.rules.sets import joined, one_rule

# -- occurrences and completion (points 1, 2, 5) ---------------------------------------------------


@pytest.mark.parametrize(
    "seen, number",
    [
        ("2024-04-15", 1),  # a day before the earliest day: an extra visit
        ("2024-04-16", 2),  # 14 days early is in time
        ("2024-04-30", 2),
        ("2024-07-16", 2),
        ("2024-07-17", 3),  # late for the first, in time for the second: satisfies both
        ("2025-01-17", 5),
    ],
)
def test_a_visit_satisfies_each_open_occurrence_whose_window_has_opened(seen, number):
    answer = plan(diagnoses=[MELANOMA], done=[CHECK | {"on": seen}])
    assert row(answer).number == number


def test_the_order_of_visits_does_not_matter():
    visits = [CHECK | {"on": day} for day in ("2024-07-31", "2024-04-30")]
    assert row(plan(diagnoses=[MELANOMA], done=visits)).number == 3


def test_something_else_done_completes_nothing():
    # Clinic setting, no source: attendance is not completion (docs/domain.md, 5)
    done = [{"purpose": "risk_assessment", "subject": "patient", "on": "2024-04-30"}]
    assert row(plan(diagnoses=[MELANOMA], done=done)).number == 1


def test_what_was_due_before_the_records_begin_is_not_missed():
    # latest day of number 1 is 2024-05-14
    assert row(plan(diagnoses=[MELANOMA], records_since="2024-05-14")).number == 1
    assert row(plan(diagnoses=[MELANOMA], records_since="2024-05-15")).number == 2


def test_the_first_unfinished_occurrence_stands_also_when_it_is_long_past():
    answer = plan(diagnoses=[MELANOMA], today=date(2029, 1, 1))
    assert (row(answer).number, row(answer).target) == (1, date(2024, 4, 30))


def test_a_closed_row_finishes_its_occurrence_only():
    closed = [CHECK | {"anchor": "2024-01-31", "number": 1, "ground": "declined", "on": "2024-05-01"}]
    assert row(plan(diagnoses=[MELANOMA], closed=closed)).number == 2
    other = [closed[0] | {"of": "diagnosis:2"}]
    assert row(plan(diagnoses=[MELANOMA], closed=other)).number == 1
    another_rule = [closed[0] | {"rule": "tier-high"}]
    assert row(plan(diagnoses=[MELANOMA], closed=another_rule)).number == 1


def test_a_closed_row_holds_whatever_its_anchor_became_later():
    """The day of the excision is corrected afterwards: what was declined stays declined."""
    closed = [CHECK | {"anchor": "2024-02-15", "number": 1, "ground": "declined", "on": "2024-05-01"}]
    assert row(plan(diagnoses=[MELANOMA], closed=closed)).number == 2


def test_discharge_ends_the_series_and_its_question():
    closed = [CHECK | {"anchor": "2024-01-31", "number": 2, "ground": "discharge", "on": "2024-05-01"}]
    answer = plan(diagnoses=[MELANOMA], closed=closed, today=date(2030, 1, 1))
    assert [due for due in answer.due if due.purpose == "full_skin_check"] == []
    assert "what_follows" not in {code for code, _ in codes(answer)}


def test_discharge_from_one_primary_leaves_the_other():
    second = MELANOMA | {"id": "2", "anchor": "2024-03-31"}
    closed = [CHECK | {"anchor": "2024-01-31", "number": 1, "ground": "discharge", "on": "2024-05-01"}]
    assert row(plan(diagnoses=[MELANOMA, second], closed=closed)).anchor == date(2024, 3, 31)


TIER = CHECK | {"rule": "tier-very-high", "of": "patient"}


def test_discharge_from_a_tier_lasts_until_the_next_assessment():
    closed = [TIER | {"anchor": "2023-01-31", "number": 1, "ground": "discharge", "on": "2023-05-01"}]
    before = plan(risk={"tier": "very_high", "assessed_on": "2023-01-31"}, closed=closed)
    after = plan(risk={"tier": "very_high", "assessed_on": "2024-01-31"}, closed=closed)
    assert [due.purpose for due in before.due] == ["risk_assessment"]
    assert (row(after).target, row(after).latest) == (date(2024, 1, 31), date(2024, 2, 28))


# How the check of a tier is counted is this program's own rule (docs/domain.md, points 2, 5 and 7): no outside source.
SINCE = {"tier": "very_high", "assessed_on": "2024-06-01", "since": "2024-01-31"}


def test_a_tier_without_any_check_on_record_has_one_due_now():
    """Within 28 days, clinic setting, no source; counted from the first day above average (docs/domain.md, point 13)."""
    found = row(plan(risk=SINCE))
    assert (found.anchor, found.target, found.latest) == (
        date(2024, 1, 31),
        date(2024, 1, 31),
        date(2024, 2, 28),
    )
    assert found.reasons[0].code == "first_check"
    renewal = row(plan(risk=SINCE), "risk_assessment")
    assert renewal.target == date(2025, 6, 1)


@pytest.mark.parametrize(
    "ended, anchor",
    [("2024-01-30", "2024-01-31"), ("2024-01-31", "2024-06-01"), ("2024-05-01", "2024-06-01")],
)
def test_a_discharge_makes_the_next_assessment_of_a_tier_a_new_beginning(ended, anchor):
    closed = [TIER | {"anchor": "2023-01-31", "number": 1, "ground": "discharge", "on": ended}]
    assert str(row(plan(risk=SINCE, closed=closed)).anchor) == anchor


@pytest.mark.parametrize(
    "visit, anchor, latest",
    [
        ("2015-01-05", "2024-01-31", "2024-02-28"),
        ("2023-06-30", "2024-01-31", "2024-02-28"),
        ("2023-08-30", "2023-08-30", "2024-03-30"),
        ("2024-03-01", "2024-03-01", "2024-10-01"),
    ],
)
def test_checks_run_from_the_last_visit_or_one_is_due_now(visit, anchor, latest):
    """Six months after the last one, 30 days late at most; where that is over, since the tier began. None is later."""
    found = row(plan(risk=SINCE, done=[CHECK | {"on": visit}]))
    assert (str(found.anchor), str(found.latest)) == (anchor, latest)


def test_a_higher_tier_never_puts_off_what_the_lower_one_asked_for():
    """High asks 6 to 12 months after the check of 2023-02-10: by 2024-02-10, before the 28 days of a first check."""
    visit = [CHECK | {"on": "2023-02-10"}]
    risk = {"assessed_on": "2024-01-31", "since": "2024-01-31"}
    assert str(row(plan(risk=risk | {"tier": "high"}, done=visit)).latest) == "2024-02-10"
    assert str(row(plan(risk=risk | {"tier": "very_high"}, done=visit)).latest) == "2024-02-10"


@pytest.mark.parametrize(
    "visit, anchor",
    [("2024-04-30", "2024-06-01"), ("2024-05-01", "2024-06-01"), ("2024-05-02", "2024-05-02")],
)
def test_a_visit_before_the_discharge_begins_nothing(visit, anchor):
    closed = [TIER | {"anchor": "2023-01-31", "number": 1, "ground": "discharge", "on": "2024-05-01"}]
    assert str(row(plan(risk=SINCE, closed=closed, done=[CHECK | {"on": visit}])).anchor) == anchor


@pytest.mark.parametrize(
    "before, after, since",
    [
        (("high", "2024-01-31"), "very_high", "2024-01-31"),
        (("above_average", "2023-01-31"), "high", "2023-01-31"),
        (("average", "2023-01-31"), "average", "2023-01-31"),
        (("average", "2023-01-31"), "high", "2025-01-31"),
        (("high", "2023-01-31"), "average", "2025-01-31"),
    ],
)
def test_what_a_new_assessment_goes_on_from(before, after, since):
    first = Risk(before[0], date(2024, 1, 31), date.fromisoformat(before[1]))
    assert first.followed_by(after, date(2025, 1, 31)).since == date.fromisoformat(since)


def test_an_assessment_of_unknown_beginning_began_on_its_own_day():
    found = Risk("high", date(2024, 1, 31)).followed_by("high", date(2025, 1, 31))
    assert found.since == date(2024, 1, 31)


# -- schedules counted from attendance -------------------------------------------------------------


@pytest.mark.parametrize(
    "visits, number, target",
    [
        ([], 1, "2024-04-30"),
        (["2024-05-20"], 2, "2024-08-20"),  # counted from the visit
        (["2024-05-20", "2024-06-20"], 2, "2024-08-20"),  # an extra visit moves nothing
        (
            ["2024-05-20", "2024-08-20", "2024-11-20"],
            4,
            "2025-01-31",
        ),  # the phase end stays tied to the anchor
        (
            ["2024-05-20", "2024-08-20", "2024-12-31"],
            4,
            "2025-06-30",
        ),  # a month before the phase end: next phase
        (["2025-01-31"], 2, "2025-07-31"),  # a visit on the phase end belongs to the earlier phase
    ],
)
def test_counting_from_attendance(visits, number, target):
    rules = by_attendance(YEARS, '"ask"', '"P0D"')
    found = row(plan(rules, diagnoses=[MELANOMA], done=[CHECK | {"on": day} for day in visits]))
    assert (found.number, found.target) == (number, date.fromisoformat(target))


def test_the_end_by_attendance_asks_at_once():
    rules = by_attendance(YEARS, '"ask"', '"P0D"')
    answer = plan(rules, diagnoses=[MELANOMA], done=[CHECK | {"on": "2026-01-20"}])
    assert ("what_follows", "diagnosis:1") in codes(answer)


def test_a_single_visit_may_not_complete_two_windows():
    rules = by_attendance('[{ every = "P1M", for = "open", early = "P29D", late = "P5D" }]', '"open"', None)
    found = row(plan(rules, diagnoses=[MELANOMA], done=[CHECK | {"on": "2024-02-20"}]))
    assert (found.number, found.target) == (2, date(2024, 3, 20))


# -- what follows (point 1) ------------------------------------------------------------------------


def test_valid_until_is_the_eve_of_the_question():
    answer = plan(diagnoses=[MELANOMA])
    assert answer.valid_until == date(2025, 10, 30)
    assert ("what_follows", "diagnosis:1") not in codes(plan(diagnoses=[MELANOMA], today=answer.valid_until))
    begun = plan(diagnoses=[MELANOMA], today=date(2025, 10, 31))
    assert ("what_follows", "diagnosis:1") in codes(begun)
    assert begun.valid_until == date.max


def test_an_early_last_visit_asks_at_once():
    answer = plan(diagnoses=[MELANOMA], done=[CHECK | {"on": "2026-01-17"}], today=date(2026, 1, 17))
    assert ("what_follows", "diagnosis:1") in codes(answer)


def test_a_decision_after_the_last_picture_answers():
    lesion = {"id": "7", "monitoring": "short", "since": "2024-01-31", "last_image_on": "2024-04-30"}
    asked = plan(lesions=[lesion])
    decision = {"lesion": "7", "decision": "reassure", "on": "2024-05-02"}
    assert ("what_follows", "lesion:7") in codes(asked)
    assert ("what_follows", "lesion:7") not in codes(plan(lesions=[lesion], decisions=[decision]))
    earlier = decision | {"on": "2024-04-29"}
    assert ("what_follows", "lesion:7") in codes(plan(lesions=[lesion], decisions=[earlier]))


def test_looking_again_follows_the_latest_decision():
    # 14 days early, 28 late: clinic setting, no source
    decisions = [
        {"id": "1", "lesion": "7", "decision": "look_again", "on": "2024-01-31", "months": 3},
        {"id": "2", "lesion": "7", "decision": "look_again", "on": "2024-05-31", "months": 6},
    ]
    found = row(plan(lesions=[{"id": "7"}], decisions=decisions), "lesion_image", "lesion:7")
    assert (found.anchor, found.target) == (date(2024, 5, 31), date(2024, 11, 30))
    assert (found.earliest, found.latest) == (date(2024, 11, 16), date(2024, 12, 28))
    assert found.reasons[0].text == "Decided 31 May 2024: look again in 6 months: once, after 6 months"
    reassured = [*decisions, {"id": "3", "lesion": "7", "decision": "reassure", "on": "2024-06-01"}]
    assert [due.purpose for due in plan(lesions=[{"id": "7"}], decisions=reassured).due] == [
        "risk_assessment"
    ]


def test_looking_again_without_months_is_a_problem():
    decision = {"lesion": "7", "decision": "look_again", "on": "2024-01-31"}
    assert ("no_interval", "lesion:7") in codes(plan(lesions=[{"id": "7"}], decisions=[decision]))


@pytest.mark.parametrize("state", ["removed", "gone", "entered_in_error", "biopsy_decided", "biopsy_taken"])
def test_only_a_watched_lesion_is_pictured(state):
    # Clinic setting, no source: the recall for the lesion ends, the recall for the patient goes on
    lesion = {"id": "7", "state": state, "monitoring": "short", "since": "2024-01-31"}
    answer = plan(lesions=[lesion], diagnoses=[MELANOMA])
    assert [due.purpose for due in answer.due] == ["risk_assessment", "full_skin_check"]


# -- several rules (point 4) -----------------------------------------------------------------------


def test_the_earliest_latest_day_governs_and_every_reason_is_kept():
    answer = plan(diagnoses=[MELANOMA, {"id": "2", "code": "bcc", "anchor": "2023-05-01"}])
    found = row(answer)
    assert found.rule == "melanoma-invasive"
    assert [reason.rule for reason in found.reasons] == ["melanoma-invasive", "bcc"]
    assert [reason.anchor for reason in found.reasons] == [date(2024, 1, 31), date(2023, 5, 1)]


def test_another_purpose_stays_separate():
    nodes = one_rule(id='"nodes"', purpose='"node_examination"')
    answer = plan(rule_set(one_rule(), nodes), diagnoses=[MELANOMA])
    assert {(due.purpose, due.subject) for due in answer.due} == {
        ("full_skin_check", "patient"),
        ("node_examination", "diagnosis:1"),
    }


def test_a_rule_by_stage_replaces_the_general_one_if_it_surely_applies():
    slow = one_rule(
        id='"ia"',
        when='{ code = { is = "melanoma" }, stage = { is = "IA" } }',
        phases='[{ every = "P1Y", for = "P10Y", early = "P60D", late = "P60D" }]',
        replaces='["r"]',
    )
    rules = rule_set(one_rule(), slow)
    known = MELANOMA | {
        "invasive": True, "thickness": "0.5", "ulceration": False, "n": "N0", "m": "M0", "primary": "known",
    }  # fmt: skip
    assert row(plan(rules, diagnoses=[known])).rule == "ia"
    assert row(plan(rules, diagnoses=[known | {"thickness": "1.5"}])).rule == "r"
    unsure = plan(rules, diagnoses=[known | {"ulceration": None}])
    assert row(unsure).rule == "r"
    assert [reason.rule for reason in row(unsure).reasons] == ["r", "ia"]
    assert ("cannot_stage", "diagnosis:1") in codes(unsure)


@pytest.mark.parametrize(
    "thickness, when, rules",
    [
        ("0.94", '{ thickness = { below = "1.0" } }', {"r"}),
        ("0.95", '{ thickness = { below = "1.0" } }', set()),
        ("0.95", '{ thickness = { at_least = "1.0" } }', {"r"}),
        ("0.94", '{ thickness = { at_least = "1.0" } }', set()),
        (">=0.5", '{ thickness = { below = "1.0" } }', {"r"}),
        (">=0.5", '{ thickness = { at_least = "1.0" } }', {"r"}),
        (">=1.0", '{ thickness = { at_least = "1.0" } }', {"r"}),
        (">=1.0", '{ thickness = { below = "1.0" } }', set()),
        (None, '{ thickness = { below = "1.0" } }', {"r"}),
        ("0.94", '{ code = { not_in = ["bcc", "scc"] } }', {"r"}),
        ("0.94", '{ code = { not_in = ["bcc", "melanoma"] } }', set()),
        ("0.94", '{ code = { in = ["bcc", "melanoma"] } }', {"r"}),
        ("0.94", "{ ulceration = { is = true } }", {"r"}),
        ("0.94", '{ risk_class = { is = "high" } }', set()),
        ("0.94", "{}", {"r"}),
    ],
)
def test_conditions_compare_what_is_known_and_keep_what_is_not(thickness, when, rules):
    # thickness is compared after rounding half up to 0.1 mm (AJCC 8th edition, from memory): 0.95 counts as 1.0
    staged = {"thickness": thickness, "n": "N0", "m": "M0", "stage_basis": "pathological", "stage": "IB"}
    answer = plan(ruleset.load(one_rule(when=when)), diagnoses=[MELANOMA | staged])
    assert {due.rule for due in answer.due} == rules


# -- no answer is an answer (point 6) --------------------------------------------------------------

STAGED = MELANOMA | {
    "invasive": True, "thickness": "1.5", "ulceration": False, "n": "N0", "m": "M0", "primary": "known",
    "stage_basis": "pathological",
}  # fmt: skip


@pytest.mark.parametrize(
    "change, code",
    [
        ({"anchor": None}, "no_anchor"),
        ({"thickness": None}, "cannot_stage"),
        ({"ulceration": None}, "cannot_stage"),
        ({"n": None}, "cannot_stage"),
        ({"n": "NX"}, "cannot_stage"),
        ({"m": None}, "cannot_stage"),
        ({"primary": "unassessable"}, "cannot_stage"),
        ({"stage": "IA"}, "stage_contradiction"),
        ({"thickness": ">=1.5"}, "stage_at_least"),
        ({"thickness": ">=1.5", "n": None}, "cannot_stage"),
        ({"invasive": False}, "contradiction"),
        ({"code": "melanoma_in_situ"}, "contradiction"),
    ],
)
def test_a_gap_or_contradiction_is_a_problem_of_the_diagnosis(change, code):
    answer = plan(diagnoses=[STAGED | change])
    assert (code, "diagnosis:1") in codes(answer)
    assert change == {"anchor": None} or row(answer).target is not None


def test_a_complete_diagnosis_has_no_problem():
    assert plan(diagnoses=[STAGED | {"stage": "IB"}], records_since="2024-01-01").problems == ()


def test_a_contradicted_stage_is_planned_for_by_the_strictest():
    # 1.5 mm without ulceration is T2a, IB (AJCC 8th edition); that both rows hold: docs/domain.md, 12, no source
    rules = joined("s3-germany")
    answer = plan(rules, diagnoses=[STAGED | {"stage": "IA"}])
    assert row(answer).rule == "M-S3-IB-IIB"
    assert [reason.rule for reason in row(answer).reasons] == ["M-S3-IB-IIB", "M-S3-IA"]


def test_a_stated_stage_that_fits_is_used():
    answer = plan(joined("s3-germany"), diagnoses=[STAGED | {"ulceration": None, "stage": "IIA"}])
    assert [reason.rule for reason in row(answer).reasons] == ["M-S3-IB-IIB"]
    assert ("cannot_stage", "diagnosis:1") in codes(answer)


@pytest.mark.parametrize("code", ["scc_in_situ", "other_malignant"])
def test_a_malignant_diagnosis_without_a_rule_is_a_problem(code):
    answer = plan(diagnoses=[{"code": code, "anchor": "2024-01-31"}])
    assert ("no_rule", "diagnosis:1") in codes(answer)


@pytest.mark.parametrize(
    "code, grade", [("benign", None), ("dysplastic_naevus", "mild"), ("dysplastic_naevus", "moderate")]
)
def test_a_benign_one_is_none(code, grade):
    # Clinic setting, no source: the checks of the tier are enough
    assert codes(plan(diagnoses=[{"code": code, "grade": grade}], records_since="2024-01-01")) == set()


def test_a_severely_dysplastic_naevus_has_no_rule_and_is_never_silent():
    """No citable interval is known; the question about re-excision is from memory (docs/sources.md)."""
    severe = {"id": "4", "code": "dysplastic_naevus", "grade": "severe", "anchor": "2024-01-31"}
    answer = plan(diagnoses=[severe], risk={"tier": "high", "assessed_on": "2024-02-01"})
    assert ("no_rule", "diagnosis:4") in codes(answer)
    assert row(answer).rule == "tier-high"
    unknown = plan(diagnoses=[severe | {"grade": None}], records_since="2024-01-01")
    assert codes(unknown) == {("grade_missing", "diagnosis:4")}


def test_a_transplant_and_several_carcinomas_have_no_rule_beside_the_tiers():
    """No citable figure for the skin checks after a transplant or after several carcinomas (docs/sources.md)."""
    scc = {"code": "scc", "anchor": "2024-01-31", "risk_class": {"scheme": "S3", "class": "low"}}
    risk = {"tier": "high", "assessed_on": "2024-02-01", "transplant": True}
    answer = plan(diagnoses=[scc | {"id": "1"}, scc | {"id": "2"}], risk=risk)
    texts = [problem.text for problem in answer.problems if problem.code == "no_rule"]
    assert len(texts) == 2 and "transplant" in "".join(texts) and "2 squamous cell" in "".join(texts)
    assert row(answer).rule in ("tier-high", "scc-low")


def test_a_risk_class_of_another_scheme_is_a_problem():
    # British and German guidelines (docs/sources.md): "high" of one scheme is not "high" of another
    scc = {"code": "scc", "anchor": "2024-01-31", "risk_class": {"scheme": "BAD", "class": "high"}}
    answer = plan(diagnoses=[scc])
    assert ("no_rule", "diagnosis:1") in codes(answer)


def test_an_unknown_risk_class_is_planned_for_by_the_strictest():
    # The stricter row of the German S3 guideline holds meanwhile: docs/domain.md, 12, no source
    answer = plan(diagnoses=[{"code": "scc", "anchor": "2024-01-31"}])
    assert row(answer).rule == "scc-high"
    assert ("missing_fact", "diagnosis:1") in codes(answer)


def test_a_rule_for_something_else_is_no_skin_check():
    rules = ruleset.load(one_rule(purpose='"node_examination"'))
    assert ("no_rule", "diagnosis:1") in codes(plan(rules, diagnoses=[MELANOMA]))


def test_a_lesion_without_a_rule_is_a_problem():
    lesion = {"id": "7", "monitoring": "long", "since": "2024-01-31"}
    assert ("no_rule", "lesion:7") in codes(plan(joined("nccn"), lesions=[lesion]))
    decision = {"lesion": "7", "decision": "look_again", "on": "2024-01-31", "months": 1}
    assert ("no_rule", "lesion:7") in codes(plan(joined("nccn"), lesions=[{"id": "7"}], decisions=[decision]))


def test_an_uncertain_reason_says_so():
    sure = plan(diagnoses=[MELANOMA])
    unsure = plan(diagnoses=[{"code": "scc", "anchor": "2024-01-31"}])
    assert "may apply" not in row(sure).reasons[0].text
    assert ["may apply" in reason.text for reason in row(unsure).reasons] == [True, True]


def test_stage_iv_by_s3_is_a_question():
    # German S3 guideline, stage IV (second-hand, docs/sources.md): individual
    answer = plan(joined("s3-germany"), diagnoses=[STAGED | {"m": "M1a"}])
    assert ("no_rule", "diagnosis:1") in codes(answer)


def test_a_missing_risk_assessment_is_work_from_the_first_day():
    found = row(plan(records_since="2024-05-20"), "risk_assessment")
    assert (found.target, found.urgency) == (date(2024, 5, 20), "C")
    (problem,) = plan().problems
    assert (problem.code, problem.subject) == ("risk_assessment_missing", "patient")
    assert "no day to count from" in problem.text
    (problem,) = plan(joined("nccn"), records_since="2024-05-20").problems
    assert "no rule that asks for one" in problem.text


def test_a_tick_without_a_record_is_no_assessment():
    done = [{"purpose": "risk_assessment", "subject": "patient", "on": "2024-05-25"}]
    assert row(plan(records_since="2024-05-20", done=done), "risk_assessment").target == date(2024, 5, 20)


def test_an_assessment_is_renewed_after_a_year():
    # A year: clinic setting, no source
    answer = plan(risk={"tier": "average", "assessed_on": "2024-02-29"})
    assert [(due.purpose, due.target) for due in answer.due] == [("risk_assessment", date(2025, 2, 28))]
    assert answer.problems == ()


def test_a_tier_without_a_rule_is_a_problem():
    answer = plan(joined("nccn"), risk={"tier": "high", "assessed_on": "2024-02-29"})
    assert codes(answer) == {("no_rule", "patient")}


def test_monitoring_without_a_day_is_a_problem():
    assert ("no_anchor", "lesion:7") in codes(plan(lesions=[{"id": "7", "monitoring": "long"}]))


def test_a_late_visit_asks_until_settled_whether_the_next_still_stands():
    # Nearer than half an interval: clinic setting, no source (docs/domain.md, 5)
    visit = [CHECK | {"on": "2024-06-20"}]
    assert ("visits_close_together", "patient") in codes(plan(diagnoses=[MELANOMA], done=visit))
    settled = [CHECK | {"date": "2024-09-20", "decided_on": "2024-06-20"}]
    answer = plan(diagnoses=[MELANOMA], done=visit, overrides=[settled[0]])
    assert ("visits_close_together", "patient") not in codes(answer)
    assert row(answer).target == date(2024, 9, 20)


@pytest.mark.parametrize("status", ["deceased", "transferred", "discharged"])
def test_nothing_is_planned_for_who_is_not_followed(status):
    answer = plan(status=status, diagnoses=[MELANOMA])
    assert answer.due == ()
    assert codes(answer) == {("not_followed", "patient")}
    assert engine.upcoming(build(status=status, diagnoses=[MELANOMA]), DEFAULT, TODAY, date(2026, 1, 1)) == []


def test_who_had_nothing_open_is_no_problem():
    calm = {"code": "benign", "anchor": "2024-01-01"}
    facts = {
        "status": "deceased",
        "diagnoses": [calm],
        "risk": {"tier": "average", "assessed_on": "2024-01-01"},
    }
    closed = {
        "purpose": "risk_assessment",
        "subject": "patient",
        "rule": "risk-renewal",
        "of": "patient",
        "anchor": "2024-01-01",
        "ground": "discharge",
    }
    assert codes(plan(**facts)) == {("not_followed", "patient")}
    assert codes(plan(**facts, closed=[closed | {"on": "2024-02-01"}])) == set()
