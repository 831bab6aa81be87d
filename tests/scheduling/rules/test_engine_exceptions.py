"""What breaks into a schedule: urgent work, the clinician's override, and what breaking the core has shown.

Own intervals, discharges and the drawn strip are this program's own rule (docs/domain.md, 8 and 10): clinic setting, no
source, where nothing is said.
"""

from datetime import date

import pytest

from scheduling.rules import dates
from scheduling.rules.plan import engine, own_intervals
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
)
from tests.scheduling.rules.build import build, sign
from tests.scheduling.rules.sets import one_rule

# -- urgent work (point 8) -------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["raised", "firm", "growing", "bleeding", "new", "painful"])
def test_an_urgent_sign_is_due_the_day_it_was_noted(word):
    # Elevated, firm, growing: promptly (Optimal care pathway, 2nd edition, 2.1); the others, the same day: clinic setting
    lesion = {"id": "7", "urgent": [sign(word, "2024-05-20"), sign("new", "2024-05-25", id="2")]}
    found = row(plan(lesions=[lesion]), "lesion_examination", "lesion:7")
    assert (found.anchor, found.target, found.urgency) == (date(2024, 5, 20), date(2024, 5, 20), "A")


@pytest.mark.parametrize(
    "word, pictured", [("raised", False), ("growing", False), ("new", True), ("painful", True)]
)
def test_monitoring_stops_for_what_must_not_wait(word, pictured):
    # Elevated, firm, growing: no waiting (Optimal care pathway, 2nd edition, 2.1); "new", "painful": clinic setting
    lesion = {
        "id": "7", "monitoring": "short", "since": "2024-05-01", "urgent": [sign(word, "2024-05-20")],
    }  # fmt: skip
    purposes = [due.purpose for due in plan(lesions=[lesion]).due]
    assert ("lesion_image" in purposes) == pictured


@pytest.mark.parametrize(
    "answered_on, open_since", [(None, "2024-05-20"), ("2024-05-20", None), ("2024-06-01", None)]
)
def test_the_linked_examination_ends_it_and_nothing_else_does(answered_on, open_since):
    """Whether an examination answers a sign is what a row links, never a comparison of days."""
    lesion = {"id": "7", "urgent": [sign("firm", "2024-05-20", answered_on)]}
    found = [due.anchor for due in plan(lesions=[lesion]).due if due.urgency == "A"]
    assert found == ([date.fromisoformat(open_since)] if open_since else [])


def test_a_sign_reported_later_the_same_day_is_open():
    """Examined at nine, bleeding reported at fifteen: the first sign is answered, the second is not."""
    day = "2024-05-20"
    lesion = {"id": "7", "urgent": [sign("firm", day, day), sign("bleeding", day, id="2")]}
    found = row(plan(lesions=[lesion]), "lesion_examination", "lesion:7")
    assert (found.of, found.urgency, found.reasons[0].params) == (
        "sign:2",
        "A",
        (("day", day), ("signs", "bleeding")),
    )


def test_a_concern_without_a_known_lesion_is_urgent_too():
    answer = plan(concerns=[sign("growing", "2024-05-20")], records_since="2024-05-30")
    found = row(answer, "lesion_examination", "patient")
    assert (found.of, found.urgency, found.latest) == ("concern:1", "A", date(2024, 6, 3))
    answered = plan(concerns=[sign("growing", "2024-05-20", "2024-05-22")], records_since="2024-05-30")
    assert "lesion_examination" not in {due.purpose for due in answered.due}


def test_a_picture_or_a_visit_does_not_end_it():
    lesion = {"id": "7", "urgent": [sign("firm", "2024-05-20")], "last_image_on": "2024-05-25"}
    done = [{"purpose": "lesion_examination", "subject": "lesion:7", "on": "2024-05-25"}]
    assert [due.urgency for due in plan(lesions=[lesion], done=done, records_since="2024-05-30").due] == [
        "A",
        "C",
    ]


def test_an_urgent_row_closes_with_a_ground_and_opens_with_new_change():
    closed = {
        "purpose": "lesion_examination", "subject": "lesion:7", "rule": "urgent-sign", "of": "sign:1",
        "anchor": "2024-05-20", "number": 1,
    }  # fmt: skip
    lesion = {"id": "7", "urgent": [sign("firm", "2024-05-20")]}
    answer = plan(lesions=[lesion], closed=[closed | {"ground": "transferred", "on": "2024-05-21"}])
    assert "lesion_examination" not in {due.purpose for due in answer.due}
    lesion["urgent"].append(sign("firm", "2024-05-20", id="2"))
    other = plan(lesions=[lesion], closed=[closed | {"ground": "transferred", "on": "2024-05-21"}])
    assert row(other, "lesion_examination", "lesion:7").of == "sign:2"


def test_growth_after_the_removal_is_urgent_again():
    lesion = {"id": "7", "state": "removed", "urgent": [sign("growing", "2024-05-20", "2024-05-25")]}
    assert [due for due in plan(lesions=[lesion]).due if due.urgency == "A"] == []
    lesion["urgent"].append(sign("growing", "2024-08-01", id="2"))
    found = row(plan(lesions=[lesion]), "lesion_examination", "lesion:7")
    assert found.anchor == date(2024, 8, 1)


def test_the_urgent_row_takes_over_another_examination_of_the_lesion():
    routine = one_rule(id='"exam"', purpose='"lesion_examination"', anchor='"lesion"', when="{}", then='"open"',
                       notice=None, phases='[{ every = "P1M", for = "open", early = "P1D", late = "P1D" }]')  # fmt: skip
    lesion = {
        "id": "7",
        "monitoring": "long",
        "since": "2024-01-31",
        "urgent": [sign("new", "2024-05-20")],
    }
    found = row(plan(ruleset.load(routine), lesions=[lesion]), "lesion_examination", "lesion:7")
    # The examination of the interval was due before the sign was noted: its date governs, and it is urgent now.
    assert (found.urgency, [reason.rule for reason in found.reasons]) == ("A", ["exam", "urgent-sign"])
    assert found.latest == date(2024, 3, 1)


TIER = CHECK | {"rule": "tier-very-high", "of": "patient"}


# -- the clinician's override ----------------------------------------------------------------------


def override(**keys):
    return [
        CHECK
        | {"id": "9", "reason": "asked for by the board", "by": "Dr A", "decided_on": "2024-01-31"}
        | keys
    ]


def test_an_interval_counts_from_the_last_visit():
    visit = [CHECK | {"on": "2024-05-02"}]
    found = row(plan(diagnoses=[MELANOMA], done=visit, overrides=override(interval="P6M")))
    assert (found.rule, found.anchor, found.target) == ("override:9", date(2024, 5, 2), date(2024, 11, 2))
    assert found.reasons[0].text == (
        "Dr A decided on 31 Jan 2024 every 6 months: asked for by the board. "
        "It speaks for what was known on that day."
    )
    assert [reason.rule for reason in found.reasons] == ["override:9", "melanoma-invasive"]


def test_an_interval_before_any_visit_counts_from_the_day_it_was_decided():
    found = row(plan(diagnoses=[MELANOMA], overrides=override(interval="P2M")))
    assert (found.anchor, found.target) == (date(2024, 1, 31), date(2024, 3, 31))
    later = override(interval="P2M", decided_on="2024-04-01")
    assert row(plan(diagnoses=[MELANOMA], overrides=later)).target == date(2024, 6, 1)


# What became known later runs beside a clinician's interval (docs/domain.md, point 10): the program's own rule, no source.


def test_a_melanoma_known_after_an_open_interval_runs_beside_it():
    """Own interval of a year without an end; a second primary of 2026-08-10 is due three months later all the same."""
    second = MELANOMA | {"id": "2", "anchor": "2026-08-10", "known_on": "2026-08-14"}
    visit = [CHECK | {"on": "2026-06-16"}]
    own = override(interval="P12M", decided_on="2026-06-16")
    found = row(plan(diagnoses=[MELANOMA, second], done=visit, overrides=own))
    assert (found.rule, found.of, found.target) == ("melanoma-invasive", "diagnosis:2", date(2026, 11, 10))
    assert "override:9" in {reason.rule for reason in found.reasons}
    assert row(plan(diagnoses=[MELANOMA], done=visit, overrides=own)).target == date(2027, 6, 16)


def test_a_later_melanoma_does_not_put_off_a_day_that_a_clinician_set():
    second = MELANOMA | {"id": "2", "anchor": "2026-08-10"}
    own = override(date="2026-09-01", decided_on="2026-06-16")
    assert row(plan(diagnoses=[second], overrides=own, records_since="2026-06-01")).target == date(2026, 9, 1)


def test_a_new_melanoma_moves_no_interval_of_an_average_tier_later():
    """Own interval of six months decided 2025-01-10, no visit: due 2025-07-10, whatever is diagnosed afterwards."""
    facts = {"risk": {"tier": "average", "assessed_on": "2025-01-10"}}
    own = override(interval="P6M", decided_on="2025-01-10")
    new = MELANOMA | {"anchor": "2026-08-31", "thickness": "4.5", "ulceration": True}
    targets = [row(plan(**facts, overrides=own, diagnoses=some)).target for some in ([], [new])]
    assert targets == [date(2025, 7, 10), date(2025, 7, 10)]


def test_a_tier_raised_after_an_own_interval_runs_beside_it():
    own = override(interval="P24M", decided_on="2024-02-01")
    visit = [CHECK | {"on": "2024-02-01"}]
    risk = {"tier": "high", "assessed_on": "2024-05-01", "since": "2024-01-01"}
    raised = row(plan(risk=risk | {"tier_since": "2024-05-01"}, done=visit, overrides=own))
    assert (raised.rule, raised.latest) == ("tier-high", date(2025, 2, 1))
    same = row(plan(risk=risk | {"tier_since": "2024-01-01"}, done=visit, overrides=own))
    assert (same.rule, same.target) == ("override:9", date(2026, 2, 1))


def test_an_interval_without_an_end_is_asked_about_once_a_year():
    own = override(interval="P12M", decided_on="2024-02-01")
    facts = {"diagnoses": [MELANOMA], "overrides": own}
    asked = ("own_interval_to_confirm", "patient")
    assert asked not in codes(plan(**facts, today=date(2025, 1, 31)))
    assert asked in codes(plan(**facts, today=date(2025, 2, 1)))
    ended = [own[0] | {"until": "2026-02-01"}]
    assert asked not in codes(plan(diagnoses=[MELANOMA], overrides=ended, today=date(2025, 2, 1)))


def test_an_override_says_what_follows():
    answer = plan(diagnoses=[MELANOMA], overrides=override(interval="P6M"), today=date(2030, 1, 1))
    assert codes(answer) & {("what_follows", "diagnosis:1")} == set()
    no_rule = {"code": "scc_in_situ", "anchor": "2024-01-31"}
    answer = plan(diagnoses=[no_rule], overrides=override(interval="P1Y"))
    assert row(answer).target == date(2025, 1, 31)
    assert codes(answer) & {("no_rule", "diagnosis:1")} == set()


def test_an_override_that_is_over_answers_nothing_any_more():
    no_rule = {"code": "scc_in_situ", "anchor": "2024-01-31"}
    facts = {"diagnoses": [no_rule], "overrides": override(interval="P6M", until="2024-12-31")}
    assert row(plan(**facts)).target == date(2024, 7, 31)
    facts["done"] = [CHECK | {"on": "2024-08-01"}]
    assert ("no_rule", "diagnosis:1") in codes(plan(**facts))


def test_an_override_of_one_diagnosis_is_a_row_of_its_own():
    mine = {
        "id": "9", "purpose": "node_examination", "subject": "diagnosis:1", "interval": "P4M", "decided_on": "2024-01-31",
    }  # fmt: skip
    second = {"id": "2", "code": "bcc", "anchor": "2024-03-31"}
    answer = plan(diagnoses=[MELANOMA, second], overrides=[mine])
    assert row(answer, "node_examination", "diagnosis:1").target == date(2024, 5, 31)


def test_an_interval_skips_what_lies_before_the_records():
    # number 1 may be done until 2024-04-14, number 2 until 2024-06-14
    facts = {"diagnoses": [MELANOMA], "overrides": override(interval="P2M")}
    assert row(plan(**facts, records_since="2024-04-14")).number == 1
    assert row(plan(**facts, records_since="2024-04-15")).number == 2


def test_after_its_end_the_rule_goes_on_without_instant_lateness():
    visit = [CHECK | {"on": "2024-05-02"}]
    facts = {
        "diagnoses": [MELANOMA],
        "done": visit,
        "overrides": override(interval="P6M", until="2024-12-31"),
    }
    assert row(plan(**facts)).target == date(2024, 11, 2)
    facts["done"] = [*visit, CHECK | {"on": "2024-11-04"}]
    assert (row(plan(**facts)).rule, row(plan(**facts)).target) == ("melanoma-invasive", date(2025, 1, 31))


def test_when_an_override_ends_after_the_schedule_the_question_returns():
    facts = {"diagnoses": [MELANOMA], "overrides": override(interval="P6M", until="2027-01-31")}
    facts["done"] = [CHECK | {"on": "2026-08-15"}]
    assert ("what_follows", "diagnosis:1") in codes(plan(**facts))
    facts["done"] = [CHECK | {"on": "2026-02-15"}]
    assert ("what_follows", "diagnosis:1") not in codes(plan(**facts))
    assert plan(**facts).valid_until == date(2026, 10, 30)


def test_a_date_governs_until_it_is_visited():
    facts = {"diagnoses": [MELANOMA], "overrides": override(date="2024-06-15")}
    assert (row(plan(**facts)).rule, row(plan(**facts)).target) == ("override:9", date(2024, 6, 15))
    assert (row(plan(**facts)).number, row(plan(**facts)).earliest) == (1, date(2024, 6, 8))
    facts["done"] = [CHECK | {"on": "2024-06-14"}]
    assert (row(plan(**facts)).rule, row(plan(**facts)).number) == ("melanoma-invasive", 2)


def test_a_date_after_its_own_end_is_a_problem_and_replaces_nothing():
    answer = plan(diagnoses=[MELANOMA], overrides=override(date="2025-06-15", until="2025-01-01"))
    assert ("override_contradiction", "patient") in codes(answer)
    assert row(answer).number == 1


def test_an_interval_without_other_facts_counts_from_its_decision():
    answer = plan(overrides=override(interval="P6M"))
    assert row(answer).target == date(2024, 7, 31)
    assert ("no_anchor", "patient") not in codes(answer)


def test_an_interval_for_a_lesion_is_that_lesions_alone():
    mine = {
        "id": "9", "purpose": "lesion_image", "subject": "lesion:7", "interval": "P2M", "decided_on": "2024-01-31",
    }  # fmt: skip
    lesions = [{"id": "6", "since": "2024-03-31"}, {"id": "7", "since": "2024-01-31"}]
    found = row(plan(lesions=lesions, overrides=[mine]), "lesion_image", "lesion:7")
    assert (found.anchor, found.target) == (date(2024, 1, 31), date(2024, 3, 31))


@pytest.mark.parametrize(
    "interval, days",
    [("P1Y", 60), ("P6M", 30), ("P3M", 14), ("P2M", 14), ("P6W", 4), ("P10D", 1), ("P9D", 0)],
)
def test_the_tolerance_of_an_override_follows_its_length(interval, days):
    # Clinic setting, no source: 14, 30 and 60 days for 3, 6 and 12 months
    assert own_intervals.usual_tolerance(dates.parse(interval)).days == days


def test_an_override_never_puts_off_an_urgent_sign():
    lesion = {"id": "7", "urgent": [sign("firm", "2024-05-20")]}
    later = {
        "id": "9",
        "purpose": "lesion_examination",
        "subject": "lesion:7",
        "date": "2024-09-01",
        "decided_on": "2024-05-21",
    }
    found = row(plan(lesions=[lesion], overrides=[later]), "lesion_examination", "lesion:7")
    assert (found.target, found.urgency) == (date(2024, 5, 20), "A")


# -- procedures, order, the strip of the year ------------------------------------------------------


def test_a_result_is_told_within_a_week():
    # Optimal care pathway, timeframes, result within 1 week: biopsy on 2026-02-20, patient told by 2026-02-27 (case 20)
    found = row(plan(procedures=[{"kind": "biopsy", "on": "2026-02-20"}]), "result_visit")
    assert found.latest == date(2026, 2, 27)
    done = [{"purpose": "result_visit", "subject": "procedure:1", "on": "2026-02-25"}]
    told = plan(procedures=[{"kind": "biopsy", "on": "2026-02-20"}], done=done)
    assert "result_visit" not in {due.purpose for due in told.due}
    assert "result_visit" not in {
        due.purpose for due in plan(procedures=[{"kind": "other", "on": "2026-02-20"}]).due
    }


def test_telling_one_of_two_results_of_a_day_leaves_the_other_to_be_told():
    taken = [{"id": name, "kind": "biopsy", "on": "2026-02-20"} for name in "ab"]
    done = [{"purpose": "result_visit", "subject": "procedure:a", "on": "2026-02-25"}]
    assert row(plan(procedures=taken, done=done), "result_visit").subject == "procedure:b"


@pytest.mark.parametrize(
    ("code", "known_on", "lesion", "urgency"),
    [
        ("melanoma", "2026-02-25", "7", "A"),
        ("melanoma", None, "7", "A"),
        ("melanoma", "2026-02-19", "7", "B"),
        ("melanoma", "2026-02-25", "8", "B"),
        ("benign", "2026-02-25", "7", "B"),
    ],
)
def test_a_malignant_result_not_told_is_urgent(code, known_on, lesion, urgency):
    """Urgency A of a malignant result: the clinic's own, no source. An older diagnosis is no result of this tissue."""
    taken = [{"kind": "biopsy", "on": "2026-02-20", "lesion": "7"}]
    known = [{"id": "1", "code": code, "anchor": "2026-02-18", "known_on": known_on, "lesion": lesion}]
    lesions = [{"id": "7"}, {"id": "8"}]
    found = row(plan(procedures=taken, diagnoses=known, lesions=lesions), "result_visit")
    assert found.urgency == urgency


def test_rows_are_ordered_by_latest_day_purpose_subject():
    lesions = [{"id": name, "monitoring": "short", "since": "2024-01-31"} for name in "ba"]
    answer = plan(lesions=lesions, diagnoses=[MELANOMA], risk={"tier": "high", "assessed_on": "2024-01-31"})
    keys = [(due.latest, due.purpose, due.subject) for due in answer.due]
    assert keys == sorted(keys)
    assert [key[2] for key in keys if key[1] == "lesion_image"] == ["lesion:a", "lesion:b"]


def test_the_json_is_that_of_the_interface():
    shown = plan(diagnoses=[MELANOMA]).to_json()
    assert list(shown) == ["schema", "ruleset", "today", "valid_until", "due", "problems"]
    assert list(shown["ruleset"]) == ["name", "version", "sha256"]
    keys = [
        "purpose",
        "subject",
        "rule",
        "of",
        "anchor",
        "number",
        "earliest",
        "target",
        "latest",
        "urgency",
        "reasons",
    ]
    assert list(shown["due"][0]) == keys
    assert list(shown["due"][0]["reasons"][0]) == [
        "rule", "of", "code", "params", "source", "anchor", "text",
    ]  # fmt: skip
    assert list(shown["problems"][0]) == ["code", "subject", "params", "text"]


def test_the_strip_shows_past_and_future_of_each_series():
    facts = build(diagnoses=[MELANOMA], done=[CHECK | {"on": "2024-05-02"}])
    found = [
        due
        for due in engine.upcoming(facts, DEFAULT, TODAY, date(2025, 1, 31))
        if due.rule == "melanoma-invasive"
    ]
    assert [due.number for due in found] == [1, 2, 3, 4]


def test_the_strip_of_a_rolling_rule_starts_at_the_last_visit():
    risk = {"tier": "very_high", "assessed_on": "2024-01-31"}
    facts = build(risk=risk, done=[CHECK | {"on": "2024-08-15"}])
    found = [
        due.target
        for due in engine.upcoming(facts, DEFAULT, date(2024, 8, 15), date(2025, 12, 31))
        if due.rule == "tier-very-high"
    ]
    assert found == [date(2025, 2, 15), date(2025, 8, 15)]


def test_the_strip_numbers_what_attendance_moves():
    rules = by_attendance(YEARS, '"ask"', '"P0D"')
    facts = build(diagnoses=[MELANOMA], done=[CHECK | {"on": "2024-05-20"}])
    found = [(due.number, due.target) for due in engine.upcoming(facts, rules, TODAY, date(2030, 1, 1))]
    assert found == [
        (1, date(2024, 4, 30)),
        (2, date(2024, 8, 20)),
        (3, date(2024, 11, 20)),
        (4, date(2025, 1, 31)),
        (5, date(2025, 7, 31)),
        (6, date(2026, 1, 31)),
    ]


def test_the_strip_shows_an_override_without_end_to_its_last_day():
    facts = build(risk={"tier": "very_high", "assessed_on": "2024-01-31"}, overrides=override(interval="P1Y"))
    strip = engine.upcoming(facts, DEFAULT, TODAY, date(2026, 1, 31))
    assert [(due.rule, due.target) for due in strip if due.purpose == "full_skin_check"] == [
        ("override:9", date(2025, 1, 31)),
        ("override:9", date(2026, 1, 31)),
    ]


def test_the_strip_leaves_out_what_an_override_replaces():
    facts = build(diagnoses=[MELANOMA], overrides=override(interval="P6M", until="2024-12-31"))
    found = [
        (due.rule, due.target)
        for due in engine.upcoming(facts, DEFAULT, TODAY, date(2025, 4, 30))
        if due.purpose == "full_skin_check"
    ]
    assert found == [
        ("override:9", date(2024, 7, 31)),
        ("melanoma-invasive", date(2025, 1, 31)),
        ("melanoma-invasive", date(2025, 4, 30)),
    ]


def test_the_strip_ends_with_a_discharge():
    closed = [CHECK | {"anchor": "2024-01-31", "number": 2, "ground": "discharge", "on": "2024-08-01"}]
    today = date(2024, 8, 1)
    found = engine.upcoming(build(diagnoses=[MELANOMA], closed=closed), DEFAULT, today, date(2026, 1, 31))
    assert [due.number for due in found if due.rule == "melanoma-invasive"] == [1, 2]


# Source: Optimal care pathway for people with melanoma, 2nd ed., timeframes: biopsy and referral within 2 weeks.
@pytest.mark.parametrize(
    "decision, state, done_on, due",
    [
        ("biopsy", "biopsy_decided", None, True),
        ("excise", "biopsy_decided", None, True),
        ("refer", "watched", None, True),
        ("excise", "removed", None, True),
        ("biopsy", "biopsy_taken", "2026-03-01", False),
        ("excise", "removed", "2026-02-27", False),
        ("excise", "entered_in_error", None, False),
        ("reassure", "watched", None, False),
    ],
)
def test_what_was_decided_stays_a_duty_until_it_is_done(decision, state, done_on, due):
    answer = plan(
        today=date(2026, 3, 1),
        risk={"tier": "average", "assessed_on": "2026-01-01"},
        lesions=[{"id": "7", "state": state}],
        decisions=[
            {"id": "1", "lesion": "7", "decision": decision, "on": "2026-02-27", "fulfilled_on": done_on}
        ],
    )
    found = [
        (item.subject, item.earliest, item.latest, item.urgency)
        for item in answer.due
        if item.rule == "as-decided"
    ]
    assert found == ([("lesion:7", date(2026, 2, 27), date(2026, 3, 13), "A")] if due else [])


# -- an override that names no day itself ----------------------------------------------------------


def test_an_override_shorter_than_its_interval_is_stated_if_it_delays():
    # docs/domain.md, point 7: never lengthened silently; 2024-04-30 to 2024-10-31 stand replaced until the end of the year
    facts = {"diagnoses": [MELANOMA], "overrides": override(interval="P2Y", until="2024-12-31")}
    found = row(plan(**facts))
    assert (found.rule, found.target) == ("melanoma-invasive", date(2025, 1, 31))
    assert [reason.rule for reason in found.reasons] == ["melanoma-invasive", "override:9"]
    assert found.reasons[1].text.startswith(
        "Dr A decided on 31 Jan 2024 every 2 years until 31 Dec 2024: asked for"
    )


def test_an_override_that_is_over_and_put_nothing_off_is_no_reason():
    facts = {"diagnoses": [MELANOMA], "overrides": override(interval="P2Y", until="2024-12-31")}
    found = row(plan(**facts, done=[CHECK | {"on": "2025-02-01"}]))
    assert [reason.rule for reason in found.reasons] == ["melanoma-invasive"]


def test_an_override_in_the_place_of_the_last_visit_asks_what_follows():
    # the yearly check of 2029-08-31 is the last one of the published row S-S3-low
    scc = {"code": "scc", "anchor": "2024-08-31", "risk_class": {"scheme": "S3", "class": "low"}}
    done = [CHECK | {"on": "2028-08-31"}]
    own = override(interval="P2Y", until="2029-12-31", decided_on="2028-08-31")
    facts = {"diagnoses": [scc], "overrides": own}
    answer = plan(**facts, done=done)
    assert "full_skin_check" not in {due.purpose for due in answer.due}
    (asked,) = [problem for problem in answer.problems if problem.code == "what_follows"]
    assert (asked.subject, "every 2 years" in asked.text) == ("patient", True)
    over = plan(**facts, done=[*done, CHECK | {"on": "2029-08-31"}])
    assert "what_follows" not in {code for code, _ in codes(over)}


# -- found by breaking the core one piece at a time (tests/bench/mutants.py) -----------------------


@pytest.mark.parametrize("word", ["reassure", "look_again", "biopsy", "excise", "refer", "already_removed"])
def test_every_decision_after_the_last_picture_says_what_follows(word):
    lesion = {"id": "7", "monitoring": "short", "since": "2024-01-31", "last_image_on": "2024-04-30"}
    decided = {"lesion": "7", "decision": word, "on": "2024-04-30", "months": 3}
    asked = ("what_follows", "lesion:7")
    assert asked in codes(plan(lesions=[lesion]))
    assert asked not in codes(plan(lesions=[lesion], decisions=[decided]))
    assert asked in codes(plan(lesions=[lesion], decisions=[decided | {"decision": "second_reading"}]))
    assert asked in codes(plan(lesions=[lesion], decisions=[decided | {"on": "2024-04-29"}]))


@pytest.mark.parametrize(
    "status, words",
    [
        ("deceased", "has died"),
        ("transferred", "is followed elsewhere"),
        ("discharged", "was discharged"),
    ],
)
def test_who_is_not_followed_is_said_in_words(status, words):
    (problem,) = plan(status=status, diagnoses=[MELANOMA]).problems
    expected = f"The patient {words}; nothing is planned. Open until then: 2 due, 1 to decide."
    assert problem.text == expected


def test_the_strip_keeps_what_was_visited_before_an_override_began():
    keys = {"interval": "P6M", "until": "2024-12-31"}
    facts = build(diagnoses=[MELANOMA], done=[CHECK | {"on": "2024-04-16"}], overrides=override(**keys))
    strip = engine.upcoming(facts, DEFAULT, TODAY, date(2025, 1, 31))
    assert [(due.rule, due.target) for due in strip if due.purpose == "full_skin_check"] == [
        ("melanoma-invasive", date(2024, 4, 30)),
        ("override:9", date(2024, 10, 16)),
        ("melanoma-invasive", date(2025, 1, 31)),
    ]


def test_the_strip_ends_on_its_last_day_for_urgent_work_too():
    lesion = {"id": "7", "urgent": [sign("firm", "2024-05-20")]}
    shown = [
        {due.urgency for due in engine.upcoming(build(lesions=[lesion]), DEFAULT, day, day)}
        for day in (date(2024, 5, 19), date(2024, 5, 20))
    ]
    # A sign dated tomorrow counts from today.
    assert ["A" in urgencies for urgencies in shown] == [True, True]


def test_a_picture_completes_its_own_lesion_only():
    lesions = [
        {
            "id": "6",
            "monitoring": "short",
            "since": "2024-01-31",
            "last_image_on": "2024-05-01",
            "region": "arm",
        },
        {"id": "7", "monitoring": "short", "since": "2024-01-31", "region": "arm"},
    ]
    pictured = {due.subject for due in plan(lesions=lesions).due if due.purpose == "lesion_image"}
    assert pictured == {"lesion:7"}


def test_closing_one_purpose_closes_no_other():
    closed = {"purpose": "risk_assessment", "subject": "patient", "anchor": "2024-01-31", "number": 1}
    facts = {"diagnoses": [MELANOMA], "closed": [closed | {"ground": "declined", "on": "2024-05-01"}]}
    assert row(plan(**facts)).number == 1
    facts["closed"][0]["ground"] = "discharge"
    assert row(plan(**facts)).number == 1


def test_a_tier_discharged_on_the_day_of_its_assessment_is_over():
    facts = {"risk": {"tier": "very_high", "assessed_on": "2024-01-31"}}
    closed = TIER | {"anchor": "2024-01-31", "number": 1, "ground": "discharge", "on": "2024-01-31"}
    assert "full_skin_check" in {due.purpose for due in plan(**facts).due}
    assert "full_skin_check" not in {due.purpose for due in plan(**facts, closed=[closed]).due}


def test_the_strip_by_attendance_leaves_out_what_finished_after_its_end():
    rules = by_attendance(YEARS, '"ask"', '"P0D"')
    facts = build(diagnoses=[MELANOMA], done=[CHECK | {"on": "2024-05-20"}, CHECK | {"on": "2024-08-20"}])
    found = [due.target for due in engine.upcoming(facts, rules, date(2024, 5, 1), date(2024, 5, 1))]
    assert found == [date(2024, 4, 30)]


def test_a_tier_is_not_over_because_one_visit_was_declined():
    facts = {"risk": {"tier": "very_high", "assessed_on": "2024-01-31"}}
    closed = TIER | {"anchor": "2024-01-31", "number": 1, "ground": "declined", "on": "2024-08-01"}
    found = row(plan(**facts, closed=[closed]))
    assert (found.number, found.target) == (2, date(2024, 7, 31))


def test_a_discharge_at_the_visit_itself_ends_a_rolling_tier():
    facts = {
        "risk": {"tier": "very_high", "assessed_on": "2024-01-31"},
        "done": [CHECK | {"on": "2024-07-31"}],
    }
    closed = TIER | {"anchor": "2024-01-31", "number": 1, "ground": "discharge", "on": "2024-07-31"}
    assert row(plan(**facts)).target == date(2025, 1, 31)
    assert "full_skin_check" not in {due.purpose for due in plan(**facts, closed=[closed]).due}


def test_an_older_diagnosis_imported_later_puts_no_interval_off():
    """Found at random (test_machine): the count from the older anchor leaves a gap where the records begin."""
    own = override(interval="P6M")
    known, older = (
        {"id": "1", "code": "bcc", "anchor": "2023-03-02"},
        {"id": "2", "code": "bcc", "anchor": "2023-02-09"},
    )
    rows = [
        row(plan(diagnoses=some, overrides=own, records_since="2023-09-15"))
        for some in ([known], [known, older])
    ]
    assert [str(found.target) for found in rows] == ["2024-07-31", "2024-07-31"]


def test_on_the_face_no_change_at_three_months_does_not_end_the_watch():
    """Suspected lentigo maligna needs 6 to 12 months: International Dermoscopy Society, Short Term Monitoring."""
    lesion = {"id": "7", "monitoring": "short", "since": "2025-08-31", "region": "face"}
    first = row(plan(lesions=[lesion], today=date(2025, 9, 1)), "lesion_image", "lesion:7")
    assert (first.rule, first.target) == ("monitoring-short", date(2025, 11, 30))
    seen = lesion | {"last_image_on": "2025-11-30"}
    found = row(plan(lesions=[seen], today=date(2025, 12, 1)), "lesion_image", "lesion:7")
    assert (found.rule, found.earliest, found.latest) == (
        "monitoring-face",
        date(2026, 2, 28),
        date(2026, 8, 31),
    )
    arm = plan(lesions=[seen | {"region": "arm"}], today=date(2025, 12, 1))
    assert "lesion_image" not in {due.purpose for due in arm.due}


# -- what breaking the core has shown, second round ------------------------------------------------


PARTIAL = {"on": "2024-05-01", "not_seen": ["scalp"]}
REST = {"purpose": "rest_of_skin_check"}


@pytest.mark.parametrize(
    "looks, owed",
    [([], True), (["2024-04-30"], True), (["2024-05-01"], False), (["2024-04-01", "2024-05-20"], False)],
)
def test_the_rest_of_a_skin_check_is_owed_until_it_was_seen(looks, owed):
    """Within 28 days: clinic setting, no source. A look before that check answers nothing, whatever it saw."""
    answer = plan(diagnoses=[MELANOMA], done=[PARTIAL, *(REST | {"on": day} for day in looks)])
    found = [due for due in answer.due if due.purpose == "rest_of_skin_check"]
    assert [(due.urgency, due.latest) for due in found] == ([("B", date(2024, 5, 29))] if owed else [])


def test_an_own_day_on_its_own_last_day_is_no_contradiction():
    own = {"date": "2024-09-01", "until": "2024-09-01"}
    answer = plan(overrides=[own])
    assert "override_contradiction" not in {code for code, _ in codes(answer)}
    assert row(answer).target == date(2024, 9, 1)


def test_the_strip_counts_on_from_the_first_check_of_a_tier():
    """Number 1 is the check that is due now; the tier's interval, 6 months for “very high”, runs from there."""
    known = build(risk={"tier": "very_high", "assessed_on": "2024-01-31"})
    strip = engine.upcoming(known, DEFAULT, TODAY, date(2025, 2, 1))
    numbers = [(due.number, str(due.target)) for due in strip if due.purpose == "full_skin_check"]
    assert numbers == [(1, "2024-01-31"), (2, "2024-07-31"), (3, "2025-01-31")]


def test_what_was_declined_after_one_check_is_owed_again_after_the_next():
    """A tier counts anew from each check, so number 1 after the second check is another occurrence."""
    risk = {"tier": "very_high", "assessed_on": "2022-01-31", "since": "2022-01-31"}
    first = {
        "rule": "tier-very-high",
        "of": "patient",
        "number": 1,
        "anchor": "2022-02-10",
        "on": "2022-09-01",
    }
    closed = [first | {"ground": "declined"}]
    found = row(plan(risk=risk, closed=closed, done=[{"on": "2022-02-10"}, {"on": "2023-02-10"}]))
    assert (found.number, found.anchor) == (1, date(2023, 2, 10))
