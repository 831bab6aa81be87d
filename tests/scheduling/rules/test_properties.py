"""What must hold for any facts: an answer, no null date, the same for the same facts, never earlier as time goes on.

The program's own rules (docs/domain.md, "Facts in, plan out"): clinic setting, no source.
"""

import random
from dataclasses import replace
from datetime import date, timedelta
from typing import get_args

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import (
    Closed,
    DecisionFact,
    Diagnosis,
    Done,
    Facts,
    LesionFacts,
    Override,
    PatientFacts,
    Procedure,
    Risk,
    RiskClass,
    UrgentSign,
)
from scheduling.rules.plan import engine, wording
from scheduling.rules.ruleset import ruleset
from tests.scheduling.rules.sets import joined

SETS = {name: ruleset.load(ruleset.shipped(name)) for name in ruleset.shipped_names()}
SETS["many"] = joined("default", "s3-germany", "cancer-council-australia", "nccn")
# What is recorded lies in the past of every `today`; days to come have properties of their own.
DAYS = st.dates(date(2015, 1, 1), date(2023, 12, 31))
TODAYS = st.dates(date(2024, 1, 1), date(2027, 12, 31))


def word(kind):
    return st.sampled_from(get_args(kind))


def maybe(strategy):
    return st.none() | strategy


def numbered(strategy):
    return st.lists(strategy, max_size=3).map(
        lambda items: tuple(replace(item, id=str(number)) for number, item in enumerate(items))
    )


SUBJECTS = {"full_skin_check": "patient", "lesion_image": "lesion:0", "lesion_examination": "lesion:0"}
KEYS = st.sampled_from(
    [
        *SUBJECTS.items(),
        ("result_visit", "procedure:0"),
        ("suture_removal", "procedure:1"),
        ("risk_assessment", "patient"),
    ]
)
DIAGNOSES = st.builds(
    Diagnosis,
    id=st.just(""),
    code=word(facts.Code),
    anchor=maybe(DAYS),
    invasive=maybe(st.booleans()),
    thickness=maybe(st.sampled_from(["0.04", "0.79", "1.04", "1.05", ">=0.8", "2.05", "4.05"])),
    ulceration=maybe(st.booleans()),
    n=maybe(word(facts.Nodes)),
    m=maybe(word(facts.Metastasis)),
    stage=maybe(word(facts.Stage)),
    stage_basis=maybe(word(facts.Basis)),
    primary=maybe(word(facts.Primary)),
    known_on=DAYS,
    grade=maybe(word(facts.Grade)),
    sentinel=maybe(word(facts.Sentinel)),
    deposit_mm=maybe(st.sampled_from(["0.3", "1.2"])),
    nodes_cleared=maybe(st.booleans()),
    risk_class=maybe(
        st.builds(RiskClass, st.sampled_from(["S3", "NCCN"]), st.sampled_from(["low", "high", "local"]))
    ),
)
SIGNS = st.builds(UrgentSign, st.just(""), word(facts.Sign), DAYS, maybe(DAYS))
LESIONS = st.builds(
    LesionFacts,
    id=st.just(""),
    state=word(facts.LesionState),
    monitoring=maybe(word(facts.Monitoring)),
    since=maybe(DAYS),
    last_image_on=maybe(DAYS),
    region=maybe(word(facts.Region)),
    urgent=st.lists(SIGNS, max_size=2).map(
        lambda signs: tuple(replace(sign, id=f"s{n}") for n, sign in enumerate(signs))
    ),
)
PROCEDURES = st.builds(
    Procedure,
    st.just(""),
    word(facts.ProcedureKind),
    DAYS,
    site=maybe(st.sampled_from(["66643007", "76261009"])),
    sutures=maybe(st.booleans()),
)
KEYED = KEYS.flatmap(lambda key: st.builds(Done, st.just(key[0]), st.just(key[1]), DAYS))
OF = st.sampled_from(["diagnosis:0", "diagnosis:1", "patient", "lesion:0", "procedure:0", "override:0"])
RULE_IDS = st.sampled_from(
    ["melanoma-invasive", "bcc", "tier-high", "monitoring-long", "result-visit", "override:0"]
)
CLOSED = st.tuples(KEYS, RULE_IDS, OF, DAYS, st.integers(1, 4), word(facts.Ground), DAYS).map(
    lambda item: Closed(*item[0], *item[1:])
)
OVERRIDES = st.tuples(KEYS, st.sampled_from(["P1M", "P6M", "P10D"]) | DAYS, maybe(DAYS), DAYS).map(
    lambda item: Override(
        "",
        *item[0],
        "a reason",
        "Dr A",
        item[3],
        interval=item[1] if isinstance(item[1], str) else None,
        date=None if isinstance(item[1], str) else item[1],
        until=item[2],
    )
)
FACTS = st.builds(
    Facts,
    patient=st.builds(
        PatientFacts,
        status=st.sampled_from(["active", "active", "active", "deceased"]),
        born=maybe(st.just(date(1970, 2, 28))),
        risk=maybe(
            st.builds(
                Risk,
                word(facts.Tier),
                DAYS,
                maybe(st.just(date(2015, 1, 1))),
                transplant=maybe(st.booleans()),
            )
        ),
        records_since=maybe(DAYS),
    ),
    diagnoses=numbered(DIAGNOSES),
    lesions=numbered(LESIONS),
    decisions=numbered(
        st.builds(
            DecisionFact,
            st.just(""),
            st.integers(1, 9),
            st.just("0"),
            word(facts.DecisionWord),
            DAYS,
            maybe(st.integers(1, 24)),
            maybe(DAYS),
        )
    ),
    procedures=numbered(PROCEDURES),
    done=st.lists(KEYED, max_size=4).map(tuple),
    closed=st.lists(CLOSED, max_size=2).map(tuple),
    overrides=numbered(OVERRIDES),
)
RULES = st.sampled_from(sorted(SETS))


@given(FACTS, RULES, TODAYS)
@settings(max_examples=60, deadline=None)
def test_every_row_has_its_dates_in_order_and_its_reasons(given_facts, name, today):
    rules = SETS[name]
    answer = engine.plan(given_facts, rules, today)
    keys = [(due.purpose, due.subject) for due in answer.due]
    assert len(keys) == len(set(keys))
    for due in answer.due:
        assert due.earliest <= due.target <= due.latest
        assert due.number >= 1 and due.urgency in ("A", "B", "C")
        assert due.reasons[0].rule == due.rule and due.reasons[0].anchor == due.anchor
        assert all(reason.source and reason.text for reason in due.reasons)
        assert wording.due_sentence(due)
    assert all(problem.text for problem in answer.problems)


@given(FACTS, RULES, TODAYS)
@settings(max_examples=60, deadline=None)
def test_an_active_patient_is_answered(given_facts, name, today):
    rules = SETS[name]
    active = replace(given_facts, patient=replace(given_facts.patient, status="active"), closed=())
    answer = engine.plan(active, rules, today)
    average = active.patient.risk is not None and active.patient.risk.tier == "average"
    assert answer.due or answer.problems or average


@given(FACTS, RULES, TODAYS, st.integers(0, 1000))
@settings(max_examples=60, deadline=None)
def test_neither_the_order_of_lists_nor_repetition_matters(given_facts, name, today, seed):
    rules = SETS[name]
    shuffle = random.Random(seed).sample
    lists = ("diagnoses", "lesions", "decisions", "procedures", "done", "closed", "overrides")
    mixed = replace(
        given_facts, **{name: tuple(shuffle(v := getattr(given_facts, name), len(v))) for name in lists}
    )
    assert engine.plan(mixed, rules, today) == engine.plan(given_facts, rules, today)
    there_and_back = facts.parse(facts.to_json(mixed))
    assert engine.plan(there_and_back, rules, today) == engine.plan(given_facts, rules, today)


@given(FACTS, RULES, TODAYS, st.integers(1, 4000))
@settings(max_examples=60, deadline=None)
def test_time_alone_moves_no_date_and_takes_back_no_problem(given_facts, name, today, days):
    rules = SETS[name]
    now, later = (engine.plan(given_facts, rules, day) for day in (today, today + timedelta(days)))
    assert later.due == now.due
    if given_facts.patient.status == "active":
        assert set(now.problems) <= set(later.problems)


@given(FACTS, RULES, TODAYS)
@settings(max_examples=60, deadline=None)
def test_the_answer_holds_to_its_last_day_and_not_a_day_longer(given_facts, name, today):
    rules = SETS[name]
    now = engine.plan(given_facts, rules, today)
    assert now.valid_until >= today
    last = engine.plan(given_facts, rules, now.valid_until)
    assert replace(last, today=today) == now
    if now.valid_until < date.max:
        after = engine.plan(given_facts, rules, now.valid_until + timedelta(1))
        assert (after.due, after.problems) != (now.due, now.problems)


@given(FACTS, RULES, TODAYS, st.integers(0, 400))
@settings(max_examples=60, deadline=None)
def test_a_visit_never_brings_an_anchored_date_forward(given_facts, name, today, days):
    rules = SETS[name]
    plain = replace(given_facts, overrides=(), closed=())
    before = {(d.purpose, d.subject): d for d in engine.plan(plain, rules, today).due}
    visit = Done("full_skin_check", "patient", today + timedelta(days))
    after = {
        (d.purpose, d.subject): d
        for d in engine.plan(replace(plain, done=(*plain.done, visit)), rules, visit.on).due
    }
    key = ("full_skin_check", "patient")
    if key in before and key in after and all(rule.spacing == "anchored" for rule in rules.rules):
        assert after[key].latest >= before[key].latest


@given(FACTS, RULES, TODAYS)
@settings(max_examples=60, deadline=None)
def test_the_strip_holds_what_the_plan_says(given_facts, name, today):
    rules = SETS[name]
    until = date(2040, 1, 1)
    strip = engine.upcoming(given_facts, rules, today, until)
    shown = {(d.purpose, d.subject, d.rule, d.of, d.anchor, d.number, d.latest) for d in strip}
    for due in engine.plan(given_facts, rules, today).due:
        # The target of a row is the earliest of all its reasons, so the governing occurrence is known by its latest day.
        if due.latest <= until:
            assert (due.purpose, due.subject, due.rule, due.of, due.anchor, due.number, due.latest) in shown
