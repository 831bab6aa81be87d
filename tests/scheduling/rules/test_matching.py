"""Which rule applies to a fact: yes, no, or perhaps where the fact is not known (domain.md, points 6 and 12)."""

import pytest

from scheduling.rules.facts.facts import Diagnosis, RiskClass
from scheduling.rules.plan import matching
from scheduling.rules.plan.matching import Applies
from scheduling.rules.ruleset import ruleset, vocabulary
from tests.scheduling.rules.sets import one_rule

# fact of a rule: condition, a value that meets it, one that does not
ASKED = {
    "code": ('{ is = "melanoma" }', "melanoma", "melanoma_in_situ"),
    "invasive": ("{ is = true }", True, False),
    "thickness": ('{ at_least = "1.0" }', "1.0", "0.9"),
    "ulceration": ("{ is = true }", True, False),
    "n": ('{ in = ["N1a", "N2a"] }', "N2a", "N0"),
    "m": ('{ not_in = ["M0"] }', "M1", "M0"),
    "stage_basis": ('{ is = "clinical" }', "clinical", "pathological"),
    "primary": ('{ is = "none" }', "none", "known"),
    "sentinel": ('{ is = "positive" }', "positive", "negative"),
    "deposit_mm": ('{ below = "1.0" }', "0.9", "1.0"),
    "nodes_cleared": ("{ is = false }", False, True),
}
ONLY_OF_A_MELANOMA = ("thickness", "ulceration", "stage_basis", "sentinel", "deposit_mm", "nodes_cleared")


def answer(when, diagnosis, stages=()):
    rule = ruleset.load(one_rule(when=when)).rules[0]
    return matching.matches(rule, matching.diagnosis_values(diagnosis, frozenset(stages)))


@pytest.mark.parametrize("name", ASKED)
def test_each_fact_of_a_diagnosis_is_asked_for(name):
    test, meets, fails = ASKED[name]
    melanoma, when = {"id": "1", "code": "melanoma"}, f"{{ {name} = {test} }}"
    assert answer(when, Diagnosis(**melanoma | {name: meets})) is Applies.YES
    assert answer(when, Diagnosis(**melanoma | {name: fails})) is Applies.NO
    if name != "code":
        assert answer(when, Diagnosis(**melanoma)) is Applies.MAYBE


@pytest.mark.parametrize("name", ONLY_OF_A_MELANOMA)
def test_what_only_a_melanoma_has_is_not_unknown_of_another_tumour(name):
    """What does not exist is no gap: a rule that asks for it does not apply, rather than perhaps."""
    when = f"{{ {name} = {ASKED[name][0]} }}"
    assert answer(when, Diagnosis("1", "bcc")) is Applies.NO
    assert answer(when, Diagnosis("1", "melanoma_in_situ")) is Applies.MAYBE


def test_a_grade_is_a_dysplastic_naevus_s_and_a_risk_class_no_melanoma_s():
    grade, classed = '{ grade = { is = "severe" } }', '{ risk_class = { is = "low" } }'
    assert answer(grade, Diagnosis("1", "dysplastic_naevus", grade="severe")) is Applies.YES
    assert answer(grade, Diagnosis("1", "dysplastic_naevus", grade="mild")) is Applies.NO
    assert answer(grade, Diagnosis("1", "dysplastic_naevus")) is Applies.MAYBE
    assert answer(grade, Diagnosis("1", "melanoma")) is Applies.NO
    assert answer(classed, Diagnosis("1", "scc")) is Applies.MAYBE
    assert answer(classed, Diagnosis("1", "melanoma")) is Applies.NO


@pytest.mark.parametrize("when", ['{ risk_class = { is = "low" } }', '{ risk_scheme = { is = "S3" } }'])
def test_scheme_and_class_are_asked_for_apart(when):
    assert answer(when, Diagnosis("1", "scc", risk_class=RiskClass("S3", "low"))) is Applies.YES
    assert answer(when, Diagnosis("1", "scc", risk_class=RiskClass("BAD", "high"))) is Applies.NO


@pytest.mark.parametrize(
    "test, possible, applies",
    [
        ('{ is = "IA" }', ["IA"], Applies.YES),
        ('{ is = "IA" }', ["IA", "IB"], Applies.MAYBE),
        ('{ is = "IA" }', ["IB"], Applies.NO),
        ('{ in = ["IA", "IB"] }', ["IA", "IB"], Applies.YES),
        ('{ not_in = ["IA", "IB"] }', ["IA", "IIA"], Applies.MAYBE),
        ('{ not_in = ["IA", "IB"] }', ["IIA", "IIB"], Applies.YES),
        ('{ not_in = ["IA", "IB"] }', ["IA", "IB"], Applies.NO),
    ],
)
def test_of_several_possible_stages_each_is_weighed(test, possible, applies):
    assert answer(f"{{ stage = {test} }}", Diagnosis("1", "melanoma"), possible) is applies


@pytest.mark.parametrize(
    "typed, test, applies",
    [
        # AJCC 8: thickness to the nearest 0.1 mm, so 0.75 counts as 0.8; a deposit is not rounded
        ("0.75", '{ at_least = "0.8" }', Applies.YES),
        ("0.74", '{ at_least = "0.8" }', Applies.NO),
        ("0.75", '{ below = "0.8" }', Applies.NO),
        (">=0.5", '{ at_least = "0.8" }', Applies.MAYBE),
        (">=0.5", '{ below = "0.8" }', Applies.MAYBE),
        (">=0.8", '{ at_least = "0.8" }', Applies.YES),
        (">=0.8", '{ below = "0.8" }', Applies.NO),
    ],
)
def test_a_thickness_is_rounded_and_a_minimum_stays_open_above(typed, test, applies):
    assert answer(f"{{ thickness = {test} }}", Diagnosis("1", "melanoma", thickness=typed)) is applies
    deposit = answer('{ deposit_mm = { below = "1.0" } }', Diagnosis("1", "melanoma", deposit_mm="0.97"))
    assert deposit is Applies.YES


def test_the_weakest_answer_of_all_conditions_counts():
    when = '{ ulceration = { is = true }, n = { is = "N0" } }'
    assert answer(when, Diagnosis("1", "melanoma", ulceration=True)) is Applies.MAYBE
    assert answer(when, Diagnosis("1", "melanoma", ulceration=False)) is Applies.NO
    assert answer(when, Diagnosis("1", "melanoma", ulceration=True, n="N0")) is Applies.YES


def test_of_any_melanoma_nothing_but_its_name_is_known():
    known = {name: values for name, values in matching.any_melanoma().items() if values is not None}
    nothing = frozenset()
    assert known == {"code": {"melanoma"}, "risk_scheme": nothing, "risk_class": nothing}
    assert set(matching.any_melanoma()) == set(vocabulary.FIELDS["diagnosis"])
    assert set(matching.diagnosis_values(Diagnosis("1", "bcc"), nothing)) == set(
        vocabulary.FIELDS["diagnosis"]
    )


def test_only_a_certain_rule_replaces_another():
    text = (
        one_rule()
        + one_rule(id='"s"', replaces='["r"]', when="{ ulceration = { is = true } }").split("\n", 4)[4]
    )
    rules = ruleset.load(text).rules

    def found(**known):
        values = matching.diagnosis_values(Diagnosis("1", "melanoma", **known), frozenset())
        return [(rule.id, applies) for rule, applies in matching.applying(rules, values)]

    assert found(ulceration=True) == [("s", Applies.YES)]
    assert found() == [("r", Applies.YES), ("s", Applies.MAYBE)]
    assert found(ulceration=False) == [("r", Applies.YES)]
