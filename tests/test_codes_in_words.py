"""What the program keeps as a code is said in the reader's language, here the made-up one: faults of files, answers.

The sentences are found by the codes that stand in the readers' sources, so a new fault without one fails here.
"""

import ast
from pathlib import Path

import pytest

from clinic.duties import limits
from clinic.duties import wording as duty_wording
from clinic.formats import fault_wording
from clinic.formats.language import Language
from clinic.models import Proposal
from clinic.people import risk
from clinic.tiers import reading
from clinic.tiers import wording as tier_wording
from lesions.limits import flags, repeatability
from lesions.limits import wording as limit_wording
from lesions.review import wording as review_wording
from scheduling.planning import rules_in_force
from scheduling.planning.wording import say_because
from scheduling.rules.facts import facts
from scheduling.rules.ruleset import fault_wording as rule_wording
from scheduling.rules.ruleset import reading as rule_reading
from scheduling.rules.ruleset import ruleset
from tests.test_language import MadeUp, english, made_up, outside  # noqa: F401  a fixture

MADE_UP = Language(MadeUp().gettext, MadeUp().ngettext)
# module that finds faults → the sentences of its own kind of file
READERS = {
    reading: tier_wording._FAULTS,
    limits: duty_wording._FAULTS,
    flags: limit_wording._FAULTS,
    repeatability: limit_wording._FAULTS,
    rule_reading: rule_wording._SENTENCES,
}
TAKES_A_CODE = {"fault": 1, "table": 1, "parsed": 2}
# a text with several faults of its kind, and who says them
BROKEN = {
    "tiers": (risk.faults_of, risk.shipped().replace("red_hair.is = true", "red_hare.is = true").replace("schema = 1", "")),
    "duty limits": (limits.check, limits.shipped().replace("urgent = 0", "urgent = 300").replace("tell =", "tale =")),
    "limits": (limit_wording.faults_of, flags.shipped().replace('"area", "area_px"', '"aera"') + "\n[repeatability]\nodd = 1\n"),
    "rules": (rules_in_force.check, ruleset.shipped("default").replace('"P3M"', '"3 months"').replace('then = "ask"', "")),
    "no TOML": (rules_in_force.check, "a = " + "[" * 5000),
}  # fmt: skip


def codes_of(module) -> set[str]:
    """The codes that a reader gives its faults: constants handed to a fault, returned or yielded beside values."""
    found = set()
    for node in ast.walk(ast.parse(Path(module.__file__).read_text())):
        code = None
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            place = TAKES_A_CODE.get(node.func.attr)
            code = node.args[place] if place and len(node.args) > place else None
        elif (
            isinstance(node, ast.Tuple) and len(node.elts) == 2 and not isinstance(node.elts[1], ast.Constant)
        ):
            code = node.elts[0]
        if isinstance(code, ast.Constant) and isinstance(code.value, str):
            found.add(code.value)
    return found


@pytest.mark.parametrize("module", READERS, ids=lambda module: module.__name__)
def test_every_fault_of_a_reader_has_a_sentence(module):
    codes = codes_of(module)
    assert len(codes) >= 3
    assert codes - READERS[module].keys() - fault_wording.SENTENCES.keys() == set()


def test_no_sentence_is_left_without_a_fault():
    used = set().union(*map(codes_of, READERS)) | set(rule_reading._MISSING.values()) | {"no_length"}
    assert {code for table in READERS.values() for code in table} - used == set()


@pytest.mark.parametrize("kind", BROKEN)
def test_the_faults_of_a_file_are_said_in_the_reader_s_language(kind, made_up):  # noqa: F811  the fixture
    check, text = BROKEN[kind]
    plain = check(text)
    made_up()
    said = check(text)
    assert len(said) == len(plain) > 0
    for one in said:
        # The place before the sentence names keys of the file, which are nobody's language.
        place, _, words = one.partition(": ⟦")
        assert words.endswith("⟧") or not place, one
        assert english(f"⟦{words}" if words else one) == [], one


def test_a_command_says_them_in_english():
    (fault,) = ruleset.check("schema = 1\nname = [1,")
    assert rule_wording.say(fault).startswith("line 2: not readable as TOML: ")
    assert rule_wording.say(fault, MADE_UP).startswith("⟦line 2⟧: ⟦not readable as TOML: ")


@pytest.mark.parametrize("code", duty_wording.SETTLED)
def test_what_the_program_answered_is_a_code_said_to_each_reader(code, made_up):  # noqa: F811
    kept = Proposal(answer=code, fields={"settled": {"who": "Dr A", "ground": "moved away"}})
    said = duty_wording.say_answer(kept)
    made_up()
    assert duty_wording.say_answer(kept) != said and outside(duty_wording.say_answer(kept)) == ""
    kept.answered_by_id, kept.answer = 1, "ask her once more"
    assert duty_wording.say_answer(kept) == "ask her once more"


def test_what_the_program_says_of_a_result_is_said_to_the_reader(made_up):  # noqa: F811
    made_up()
    told = {"code": "told_in_error", "diagnosis": "scc"}
    for said in (say_because(told), review_wording.say_because({"code": "looked_otherwise"})):
        assert english(said) == []


@pytest.mark.parametrize(
    ("field", "value"), [("thickness", "thick"), ("deposit_mm", "much"), ("stage", "IX"), ("anchor", "soon")]
)
def test_what_is_wrong_with_facts_is_said_to_the_reader(field, value):
    known = facts.Facts(facts.PatientFacts(), diagnoses=(facts.Diagnosis(id="1", code="melanoma"),))
    plain = facts.to_json(known)
    plain["diagnoses"][0][field] = value
    with pytest.raises(facts.UnreadableFacts) as refused:
        facts.parse(plain)
    assert refused.value.path == f"diagnoses[0].{field}", refused.value
    assert outside(refused.value.in_words(MADE_UP)) == "" and value in refused.value.in_words()
