"""Rule sets: every fault is named by its path, the shipped ones have none.

The format is this program's own; intervals of the examples are made up, no source.
"""

import dataclasses
import hashlib
from typing import get_args

import pytest

from scheduling.rules import dates
from scheduling.rules.facts import facts
from scheduling.rules.ruleset import fault_wording, ruleset, vocabulary
from tests.scheduling.rules.sets import HEAD, one_rule


@pytest.mark.parametrize("name", ruleset.shipped_names())
def test_shipped_sets_have_no_fault(name):
    text = ruleset.shipped(name)
    assert [fault for fault in ruleset.check(text) if fault.kind == "error"] == []
    found = ruleset.load(text)
    assert (found.name, found.sha256) == (name, hashlib.sha256(text.encode()).hexdigest())


def test_the_default_comes_first():
    assert ruleset.shipped_names()[0] == "default"
    with pytest.raises(KeyError):
        ruleset.shipped("../rules/facts")


PHASE = "rule[0:r].phases[0]"
FAULTS = [
    ({"phases": '[{ every = "P3X", for = "P2Y", early = "P14D", late = "P14D" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ every = 3, for = "P2Y", early = "P14D", late = "P14D" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ for = "P2Y", early = "P14D", late = "P14D" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ every = "P0D", for = "P2Y", early = "P0D", late = "P14D" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ every = "P11Y", for = "P20Y", early = "P14D", late = "P14D" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ every = "P6M..P3M", for = "P2Y" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ every = "P3M..", for = "P2Y" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ every = "P3M..P6M", target = "P7M", for = "P2Y" }]'}, f"{PHASE}.every"),
    ({"phases": '[{ every = "P3M", early = "P14D", late = "P14D" }]'}, f"{PHASE}.for"),
    ({"phases": '[{ every = "P3M", for = "P2M", early = "P14D", late = "P14D" }]'}, f"{PHASE}.for"),
    ({"phases": '[{ every = "P3M", for = "P2Y", late = "P14D" }]'}, f"{PHASE}.early"),
    ({"phases": '[{ every = "P3M", for = "P2Y", early = "P3M", late = "P14D" }]'}, f"{PHASE}.early"),
    ({"phases": '[{ every = "P3M", for = "P2Y", early = "P14D" }]'}, f"{PHASE}.late"),
    ({"phases": '[{ every = "P3M..P6M", for = "P2Y", late = "P14D" }]'}, f"{PHASE}.late"),
    ({"phases": '[{ every = "P3M", for = "P2Y", early = "P14D", late = "P14D", colour = 1 }]'}, f"{PHASE}.colour"),
    ({"phases": '[{ every = "as decided", for = "once", early = "P1D", late = "P1D" }]'}, f"{PHASE}.every"),
    ({"phases": "[]"}, "rule[0:r].phases"),
    ({"phases": '"P3M"'}, "rule[0:r].phases"),
    ({"phases": '["P3M"]'}, PHASE),
    ({"phases": '[{ every = "P3M", for = "open", early = "P14D", late = "P14D" }]'}, "rule[0:r].then"),
    ({"then": '"open"', "notice": None}, "rule[0:r].then"),
    ({"then": '"stop"', "notice": None}, "rule[0:r].then"),
    ({"then": None, "notice": None}, "rule[0:r].then"),
    ({"notice": None}, "rule[0:r].notice"),
    ({"then": '"end"'}, "rule[0:r].notice"),
    ({"source": None}, "rule[0:r].source"),
    ({"source": '" "'}, "rule[0:r].source"),
    ({"source": '"None."'}, "rule[0:r].source"),
    ({"source": '"?"'}, "rule[0:r].source"),
    ({"source": '"Our own, no source"'}, "rule[0:r].source"),
    ({"notice": '"P11Y"'}, "rule[0:r].notice"),
    ({"phases": '[{ every = "P3M", for = "P101Y", early = "P14D", late = "P14D" }]'}, f"{PHASE}.for"),
    ({"phases": '[{ every = "P3M", for = "P2Y", early = "P14D", late = "P4M" }]'}, f"{PHASE}.late"),
    ({"phases": '[{ every = "P3M", for = "once", early = "P14D", late = "P11Y" }]'}, f"{PHASE}.late"),
    ({"source": '"clinic setting, no source"'}, "rule[0:r].approver"),
    ({"source": '"common practice, no source"'}, "rule[0:r].approver"),
    ({"flag": '"memory L"'}, "rule[0:r].flag"),
    ({"purpose": '"tea"'}, "rule[0:r].purpose"),
    ({"purpose": '"lesion_image"'}, "rule[0:r].purpose"),
    ({"anchor": '"birth"', "when": "{}"}, "rule[0:r].anchor"),
    ({"spacing": '"chained"'}, "rule[0:r].spacing"),
    ({"urgency": '"D"'}, "rule[0:r].urgency"),
    ({"replaces": '["other"]'}, "rule[0:r].replaces"),
    ({"replaces": '["r"]'}, "rule[0:r].replaces"),
    ({"colour": '"blue"'}, "rule[0:r].colour"),
    ({"when": '"melanoma"'}, "rule[0:r].when"),
    ({"when": '{ colour = { is = "blue" } }'}, "rule[0:r].when.colour"),
    ({"when": '{ code = "melanoma" }'}, "rule[0:r].when.code"),
    ({"when": '{ code = { is = "melanoma", in = ["bcc"] } }'}, "rule[0:r].when.code"),
    ({"when": '{ code = { like = "mel*" } }'}, "rule[0:r].when.code.like"),
    ({"when": '{ code = { is = "mole" } }'}, "rule[0:r].when.code.is"),
    ({"when": "{ code = { in = [] } }"}, "rule[0:r].when.code.in"),
    ({"when": '{ code = { below = "1.0" } }'}, "rule[0:r].when.code.below"),
    ({"when": '{ thickness = { is = "1.0" } }'}, "rule[0:r].when.thickness.is"),
    ({"when": "{ thickness = { below = 1.0 } }"}, "rule[0:r].when.thickness.below"),
    ({"when": '{ thickness = { below = "1.04" } }'}, "rule[0:r].when.thickness.below"),
    ({"when": '{ invasive = { is = "yes" } }'}, "rule[0:r].when.invasive.is"),
    ({"anchor": '"risk"', "when": "{}", "spacing": '"attendance"'}, "rule[0:r].spacing"),
]  # fmt: skip


@pytest.mark.parametrize("changes, path", FAULTS, ids=[f"{path} {changes}"[:90] for changes, path in FAULTS])
def test_a_fault_is_named_by_its_path(changes, path):
    faults = ruleset.check(one_rule(**changes))
    assert path in [fault.path for fault in faults]
    assert all(fault_wording.say(fault) and fault.line is None for fault in faults)


def test_the_pattern_of_these_faults_is_itself_sound():
    assert ruleset.check(one_rule()) == []


def test_all_faults_are_named_at_once():
    paths = [fault.path for fault in ruleset.check(one_rule(urgency='"D"', flag='"memory L"', source=None))]
    assert paths == ["rule[0:r].source"]
    paths = [fault.path for fault in ruleset.check(one_rule(urgency='"D"', flag='"memory L"'))]
    assert paths == ["rule[0:r].urgency", "rule[0:r].flag"]


def test_a_syntax_error_has_a_line():
    (fault,) = ruleset.check(HEAD + "[[rule]]\nid = = 1\n")
    assert (fault.path, fault.line) == ("", 6)


def test_a_syntax_error_at_the_end_has_the_last_line():
    (fault,) = ruleset.check("schema = 1\nname = [1,")
    assert fault.line == 2


def test_what_is_nested_without_end_is_a_fault_and_no_crash():
    (fault,) = ruleset.check(HEAD + "a = " + "[" * 5000)
    assert (fault.path, fault.line, fault.code) == ("", 5, "no_toml_deep")


@pytest.mark.parametrize(
    "changes",
    [
        {"notice": '"P10Y"'},
        {"phases": '[{ every = "P3M", for = "P100Y", early = "P14D", late = "P3M" }]'},
        {"phases": '[{ every = "P3M", for = "once", early = "P3M", late = "P10Y" }]'},
        {"source": '"clinic setting, no source"', "approver": '"Dr A"'},
    ],
)
def test_what_lies_on_a_limit_is_no_fault(changes):
    assert ruleset.check(one_rule(**changes)) == []


def test_two_rules_with_one_id():
    text = one_rule() + one_rule().replace(HEAD, "\n")
    assert [fault.path for fault in ruleset.check(text)] == ["rule[1:r]"]


@pytest.mark.parametrize(
    "text, path",
    [
        (HEAD, "rule"),
        (one_rule().replace("schema = 1", "schema = 2"), "schema"),
        (one_rule().replace('version = "1"', "version = 1"), "version"),
        ('colour = "blue"\n' + one_rule(), "colour"),
    ],
)
def test_faults_of_the_whole_file(text, path):
    assert path in [fault.path for fault in ruleset.check(text)]


def test_a_faulty_set_is_refused_as_a_whole():
    with pytest.raises(ruleset.FaultyRuleSet) as refused:
        ruleset.load(one_rule(urgency='"D"'))
    assert [fault.path for fault in refused.value.faults] == ["rule[0:r].urgency"]


def test_the_short_end_is_the_target_unless_the_set_says_otherwise():
    # docs/domain.md, point 1
    text = one_rule(
        phases='[{ every = "P3M..P6M", for = "P2Y" }, { every = "P3M..P6M", target = "P4M", for = "P2Y" }]'
    )
    first, second = ruleset.load(text).rules[0].phases
    assert (first.target, second.target) == (dates.Duration(3), dates.Duration(4))


def test_the_wound_is_checked_after_two_to_three_days_by_the_clinics_word():
    # Clinic setting, no source: two to three days.
    rules = {rule.id: rule for rule in ruleset.load(ruleset.shipped("default")).rules}
    rule, (phase,) = rules["wound-check"], rules["wound-check"].phases
    assert (phase.short.days, phase.target.days, phase.long.days) == (2, 3, 3)
    assert (rule.source, rule.flag) == ("clinic setting, no source", "design")
    assert rule.approver


@pytest.mark.parametrize(
    "anchor, fact",
    [
        ("diagnosis", facts.Diagnosis),
        ("risk", facts.Risk),
        ("lesion", facts.LesionFacts),
        ("decision", facts.DecisionFact),
        ("procedure", facts.Procedure),
    ],
)
def test_what_a_rule_may_ask_for_is_a_fact(anchor, fact):
    """interfaces.md: a decision lies where its lesion does; a risk class is a scheme and a class."""
    known = {field.name for field in dataclasses.fields(fact)} | {"site", "region", "risk_scheme"}
    assert set(vocabulary.FIELDS[anchor]) <= known


@pytest.mark.parametrize(
    "anchor, name", [(anchor, name) for anchor, words in vocabulary.FIELDS.items() for name in words]
)
def test_a_rule_may_ask_for_each_fact_of_its_anchor(anchor, name):
    kind, purpose = vocabulary.FIELDS[anchor][name], vocabulary.ANCHORS[anchor][0]
    asked = {float: '{ at_least = "1" }', bool: "{ is = true }", str: '{ is = "any word" }'}
    test = asked[kind] if isinstance(kind, type) else f'{{ is = "{kind[0]}" }}'
    text = one_rule(anchor=f'"{anchor}"', purpose=f'"{purpose}"', when=f"{{ {name} = {test} }}")
    assert ruleset.check(text) == []


def test_every_purpose_has_its_words_and_an_anchor_or_is_built_in():
    """interfaces.md: the closed list of purposes; what a skin check left out is planned by no rule."""
    purposes = set(get_args(facts.Purpose))
    assert set(vocabulary.PURPOSE_WORDS) == purposes
    planned = {purpose for found in vocabulary.ANCHORS.values() for purpose in found}
    assert planned == purposes - {"rest_of_skin_check"}
    assert set(vocabulary.FIELDS) == set(vocabulary.ANCHORS) == set(get_args(vocabulary.Anchor))


@pytest.mark.parametrize("flag", ["found", "found-2nd", "memory H", "memory M", "derived", "design"])
def test_how_a_row_was_read_is_one_of_six(flag):
    """A row that is remembered with little confidence is not encoded at all."""
    assert ruleset.check(one_rule(flag=f'"{flag}"')) == []
