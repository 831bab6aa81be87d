"""Rules, conditions, spans of time and due items in plain words, each read for its English."""

from datetime import date
from typing import get_args

import pytest

from scheduling.rules import dates
from scheduling.rules.facts import code_words, facts
from scheduling.rules.plan import wording
from scheduling.rules.plan.plan import Due
from scheduling.rules.ruleset import ruleset, vocabulary
from tests.scheduling.rules.sets import FROM_MEMORY, HEAD, one_rule


def sentence(**changes):
    return wording.rule_sentence(ruleset.load(one_rule(**changes)).rules[0])


def test_rules_read_as_sentences():
    rule = ruleset.load(HEAD + FROM_MEMORY).rules[0]
    assert wording.rule_sentence(rule) == (
        "SCC, high risk (from memory, medium confidence): full skin check every 4 months for 1 year, every 6 months "
        "for 1 year, then follow-up ends, counted from the day of definitive excision. Applies when the diagnosis is squamous "
        "cell carcinoma and the risk scheme is BAD and the risk class is high. Source: "
        "Keohane and others, British Association of Dermatologists guidelines for people with cutaneous squamous cell "
        "carcinoma, Br J Dermatol 2021, guideline of 2020 (from memory, to be checked)."
    )
    assert wording.phase_labels(rule) == [
        "every 4 months for 1 year",
        "every 6 months for 1 year",
        "then follow-up ends",
    ]


def test_a_condition_reads_as_words_and_names_its_sites():
    names = {"36141000": "cheek", "30291003": "chin"}
    text = one_rule(
        purpose='"suture_removal"',
        anchor='"procedure"',
        when='{ site = { in = ["36141000", "30291003"] } }',
        phases='[{ every = "P3D..P5D", for = "once" }]',
        then='"end"',
        notice=None,
    )
    read = wording.rule_sentence(ruleset.load(text).rules[0], names)
    assert "once, after 3 to 5 days" in read
    assert "Applies when sutures were left to remove and the site is cheek or chin." in read


@pytest.mark.parametrize(
    "when, words",
    [
        ('{ ulceration = { is = false } }', "it is not ulcerated"),
        ('{ invasive = { is = true } }', "it is invasive"),
        ('{ invasive = { not_in = [true] } }', "it is not invasive"),
        ('{ ulceration = { not_in = [false] } }', "it is ulcerated"),
        ('{ ulceration = { in = [true, false] } }', "it is ulcerated or it is not ulcerated"),
        ('{ thickness = { at_least = "0.8" } }', "the thickness is at least 0.8 mm"),
        ('{ stage = { in = ["IIB", "IIC", "IV"] } }', "the stage is IIB, IIC or IV"),
        ('{ stage = { not_in = ["IA"] } }', "the stage is none of IA"),
    ],
)  # fmt: skip
def test_conditions_of_a_diagnosis_in_words(when, words):
    rule = ruleset.load(one_rule(when=when)).rules[0]
    assert f"Applies when {words}." in wording.rule_sentence(rule)


@pytest.mark.parametrize(
    "short, long, words",
    [
        (dates.Duration(days=5), dates.Duration(days=7), "5 to 7 days"),
        (dates.Duration(6), dates.Duration(12), "6 to 12 months"),
        (dates.Duration(24), dates.Duration(60), "2 to 5 years"),
        (dates.Duration(2, 15), dates.Duration(4, 15), "2 months and 15 days to 4 months and 15 days"),
        (dates.Duration(12), dates.Duration(18), "12 to 18 months"),
        (dates.Duration(18), dates.Duration(24), "18 to 24 months"),
        (dates.Duration(days=14), dates.Duration(1), "2 weeks to 1 month"),
        (dates.Duration(1), dates.Duration(1, 15), "1 month to 1 month and 15 days"),
        (dates.Duration(1, 15), dates.Duration(2), "1 month and 15 days to 2 months"),
    ],
)
def test_a_range_in_words(short, long, words):
    assert wording.range_words(short, long) == words


@pytest.mark.parametrize(
    "duration, words",
    [
        (dates.Duration(), "0 days"),
        (dates.Duration(days=1), "1 day"),
        (dates.Duration(days=6), "6 days"),
        (dates.Duration(days=7), "1 week"),
        (dates.Duration(days=42), "6 weeks"),
        (dates.Duration(days=10), "10 days"),
        (dates.Duration(1), "1 month"),
        (dates.Duration(11), "11 months"),
        (dates.Duration(12), "1 year"),
        (dates.Duration(14), "14 months"),
        (dates.Duration(24), "2 years"),
        (dates.Duration(1, 14), "1 month and 14 days"),
        (dates.Duration(24, 7), "2 years and 7 days"),
    ],
)
def test_a_duration_in_words(duration, words):
    assert wording.duration_words(duration) == words


def test_every_word_of_a_purpose_is_read_in_a_sentence():
    said = {
        "full_skin_check": "full skin check",
        "lesion_image": "picture of the lesion",
        "lesion_examination": "examination of the lesion in person",
        "result_visit": "visit for the result",
        "wound_check": "wound check",
        "suture_removal": "removal of sutures",
        "risk_assessment": "risk assessment",
        "node_examination": "lymph node examination",
        "node_ultrasound": "ultrasound of the lymph nodes",
        "sectional_imaging": "sectional imaging (CT, MRI or PET)",
        "laboratory": "laboratory test",
    }
    for purpose, words in said.items():
        anchor = next(name for name, found in vocabulary.ANCHORS.items() if purpose in found)
        text = one_rule(purpose=f'"{purpose}"', anchor=f'"{anchor}"', when="{}")
        assert wording.rule_sentence(ruleset.load(text).rules[0]).startswith(
            f"A rule: {words} every 3 months"
        )


@pytest.mark.parametrize(
    "anchor, purpose, when, words",
    [
        ("diagnosis", "full_skin_check", '{ code = { in = ["bcc", "scc"] } }', "the diagnosis is basal cell carcinoma or squamous cell carcinoma"),
        ("diagnosis", "full_skin_check", '{ code = { is = "scc_in_situ" } }', "the diagnosis is squamous cell carcinoma in situ"),
        ("diagnosis", "full_skin_check", '{ thickness = { below = "0.8" } }', "the thickness is below 0.8 mm"),
        ("diagnosis", "full_skin_check", '{ sentinel = { is = "not_done" } }', "the sentinel node biopsy is not done"),
        ("diagnosis", "full_skin_check", '{ deposit_mm = { at_least = "1.0" } }', "the sentinel node deposit is at least 1.0 mm"),
        ("diagnosis", "full_skin_check", '{ n = { is = "N1a" } }', "N is N1a"),
        ("diagnosis", "full_skin_check", '{ m = { not_in = ["M0", "M1"] } }', "M is none of M0 or M1"),
        ("diagnosis", "full_skin_check", '{ stage_basis = { is = "clinical" } }', "the basis of the stage is clinical"),
        ("diagnosis", "full_skin_check", '{ primary = { is = "none" } }', "the primary tumour is not found"),
        ("diagnosis", "full_skin_check", '{ nodes_cleared = { is = false } }', "the nodes were not cleared"),
        ("diagnosis", "full_skin_check", '{ nodes_cleared = { is = true } }', "the nodes were cleared"),
        ("diagnosis", "full_skin_check", '{ ulceration = { not_in = [true, false] } }', "it is not ulcerated and it is ulcerated"),
        ("risk", "full_skin_check", '{ tier = { is = "very_high" } }', "the risk tier is very high"),
        ("risk", "full_skin_check", '{ transplant = { is = true } }', "there was a transplant"),
        ("risk", "full_skin_check", '{ transplant = { is = false } }', "there was no transplant"),
        ("lesion", "lesion_image", '{ monitoring = { is = "short" } }', "the monitoring is short-term"),
        ("lesion", "lesion_image", '{ monitoring = { is = "long" } }', "the monitoring is long-term"),
        ("decision", "lesion_image", '{ decision = { is = "look_again" } }', "the decision is to look again"),
        ("decision", "lesion_examination", '{ decision = { in = ["refer", "excise"] } }', "the decision is referral or excision"),
        ("procedure", "wound_check", '{ kind = { is = "biopsy" } }', "the procedure is biopsy"),
        ("diagnosis", "full_skin_check", '{ code = { is = "melanoma" }, n = { is = "N0" } }', "the diagnosis is melanoma and N is N0"),
    ],
)  # fmt: skip
def test_conditions_in_words(anchor, purpose, when, words):
    assert f". Applies when {words}. Source: " in sentence(
        anchor=f'"{anchor}"', purpose=f'"{purpose}"', when=when
    )


@pytest.mark.parametrize(
    "anchor, purpose, words",
    [
        ("diagnosis", "full_skin_check", "the day of definitive excision"),
        ("risk", "risk_assessment", "the risk assessment"),
        ("lesion", "lesion_image", "the start of monitoring"),
        ("decision", "lesion_examination", "the day of the decision"),
        ("procedure", "wound_check", "the procedure"),
    ],
)
def test_what_a_rule_counts_from(anchor, purpose, words):
    said = sentence(anchor=f'"{anchor}"', purpose=f'"{purpose}"', when="{}")
    assert f", counted from {words}. Applies always. Source: a source, 1." in said
    counted = sentence(spacing='"attendance"')
    assert ", counted from the last attendance. " in counted


@pytest.mark.parametrize(
    "phase, then, labels",
    [
        ('every = "P3M", for = "open"', "open", ["every 3 months", "without an end"]),
        ('every = "P1Y", for = "P2Y"', "end", ["every year for 2 years", "then follow-up ends"]),
        (
            'every = "P1M", for = "P1Y"',
            "ask",
            ["every month for 1 year", "then a clinician says what follows"],
        ),
        ('every = "P6M", for = "once"', "end", ["once, after 6 months"]),
        (
            'every = "P6M", for = "once"',
            "ask",
            ["once, after 6 months", "then a clinician says what follows"],
        ),
    ],
)
def test_phases_in_words(phase, then, labels):
    notice = '"P3M"' if then == "ask" else None
    text = one_rule(phases=f'[{{ {phase}, early = "P5D", late = "P5D" }}]', then=f'"{then}"', notice=notice)
    assert wording.phase_labels(ruleset.load(text).rules[0]) == labels


def test_a_rule_that_plans_nothing_says_so():
    said = sentence(phases="[]", then='"end"', notice=None)
    assert said.startswith(
        "A rule: no full skin check is planned by this rule. Applies when the diagnosis is melanoma."
    )


@pytest.mark.parametrize(
    "changes, words",
    [
        ({}, "a source, 1"),
        ({"flag": '"found-2nd"'}, "a source, 1 (second-hand, confirm before use)"),
        ({"flag": '"memory M"'}, "a source, 1 (from memory, to be checked)"),
        ({"flag": '"memory H"'}, "a source, 1 (from memory, to be checked)"),
        ({"superseded_by": '"the edition of 2022"'}, "a source, 1; superseded by the edition of 2022"),
    ],
)
def test_where_a_rule_comes_from_and_how_it_was_read(changes, words):
    assert wording.source_words(ruleset.load(one_rule(**changes)).rules[0]) == words


def test_a_due_item_in_words():
    day, later = date(2024, 5, 1), date(2024, 5, 29)
    due = Due("lesion_image", "lesion:7", "r", "lesion:7", day, 2, day, day, later, "B")
    assert wording.due_sentence(due) == (
        "Picture of the lesion (lesion 7), number 2, on 2024-05-01, in time from 2024-05-01 to 2024-05-29; urgency B."
    )
    on_one_day = Due("full_skin_check", "patient", "r", "patient", day, 1, day, day, day, "A")
    assert wording.due_sentence(on_one_day) == "Full skin check, number 1, on 2024-05-01; urgency A."


@pytest.mark.parametrize("code", get_args(facts.Code))
def test_every_diagnosis_has_its_words(code):
    assert code_words.DIAGNOSES[code].startswith(CODES.get(code, code.replace("_", " ")))


CODES = {
    "scc": "squamous cell carcinoma",
    "scc_in_situ": "squamous cell carcinoma in situ",
    "bcc": "basal cell carcinoma",
    "other_malignant": "other malignant tumour",
}
