"""What the core says is put into the language that it is handed, and a set may give its own texts in several."""

import pytest

from clinic.formats.language import Language
from scheduling.rules import checklist_sums, dates
from scheduling.rules.facts import code_words as values
from scheduling.rules.plan import messages, wording
from scheduling.rules.plan.plan import Problem
from scheduling.rules.ruleset import ruleset, schedules, vocabulary
from tests.scheduling.rules.asking import MELANOMA, plan
from tests.scheduling.rules.sets import one_rule
from tests.scheduling.rules.test_codes import said_by_all_cases

# A made-up language: each text in brackets, and a count by which of its two forms was chosen.
MADE_UP = Language(lambda text: f"⟦{text}⟧", lambda one, many, number: f"⟦{one if number == 1 else many}⟧")
# Numbers by the units of the duration and, in the third place, a plural that English has not (as Polish has).
POLISH = Language(lambda text: text, lambda one, many, number: "{count} few" if 2 <= number <= 4 else many)


def outside(text):
    kept, depth = [], 0
    for letter in text:
        depth += (letter == "⟦") - (letter == "⟧")
        kept += letter if not depth and letter not in "⟦⟧" else ""
    return "".join(kept)


def english_of(text):
    return [word for word in outside(text).split() if word.isalpha() and word.islower()]


@pytest.mark.parametrize(
    "code", ["P1D", "P6W", "P3M..P6M/P2Y", "once:P14D", "once:P3D..P5D", "now", "as_decided"]
)
def test_a_schedule_is_said_in_the_language_it_is_asked_in(code):
    assert english_of(schedules.schedule_words(code, MADE_UP)) == []
    assert schedules.schedule_words(code, MADE_UP) != schedules.schedule_words(code)


def test_a_language_chooses_its_own_plural():
    assert wording.duration_words(dates.parse("P3M"), POLISH) == "3 few"
    assert wording.duration_words(dates.parse("P5M"), POLISH) == "5 months"


def test_what_is_said_in_one_language_is_not_kept_for_another():
    row = plan(diagnoses=[MELANOMA]).due[0].reasons[0]
    before = row.text
    spoken = messages.reason_text(row.code, row.params, MADE_UP)
    assert outside(spoken).strip(": ") == "" and row.text == before and "⟦" not in row.text


def test_every_problem_and_every_reason_is_one_text_of_the_catalogue():
    for one in said_by_all_cases():
        assert outside(spoken(one)).strip(": ") == "", one.code


def test_each_code_in_a_sentence_is_put_into_the_language_by_itself():
    """A code that was made English before it reached the sentence would stay English in every language."""
    for one in said_by_all_cases():
        for name, value in one.params:
            words = values.WORDS.get(name, {})
            for code in str(value).split(","):
                assert code not in words or f"⟦{words[code]}⟧" in spoken(one), (one.code, name)


def spoken(one):
    say = messages.problem_text if isinstance(one, Problem) else messages.reason_text
    return say(one.code, one.params, MADE_UP)


@pytest.mark.parametrize("name", ruleset.shipped_names())
def test_every_shipped_rule_is_read_in_the_language_it_is_asked_in(name):
    for rule in ruleset.load(ruleset.shipped(name)).rules:
        sites = {value: "⟦site⟧" for one in rule.when if one.field == "site" for value in one.values}
        assert english_of(wording.rule_body(rule, sites, MADE_UP)) == [], rule.id


def test_every_fact_that_a_rule_may_ask_for_has_its_words():
    for kind, fields in vocabulary.FIELDS.items():
        for name, known in fields.items():
            value = known[0] if isinstance(known, tuple) else "0.8" if known is float else "x"
            test = (
                "{ is = true }"
                if known is bool
                else f'{{ {"below" if known is float else "is"} = "{value}" }}'
            )
            purpose = vocabulary.ANCHORS[kind][0]
            more = {"spacing": '"anchored"', "purpose": f'"{purpose}"', "anchor": f'"{kind}"'}
            rule = ruleset.load(one_rule(when=f"{{ {name} = {test} }}", **more)).rules[0]
            assert "⟦" in wording.rule_body(rule, {}, MADE_UP)


def test_a_checklist_is_read_beside_its_threshold_in_any_language():
    score = checklist_sums.three_point(asymmetry=True, atypical_network=True, blue_white_structures=False)
    said = checklist_sums.score_words(score.reading, score.value, MADE_UP)
    assert said == "⟦2 of 3. Published threshold (DermNet): 2 or more.⟧"


def test_the_german_set_has_german_titles_and_citations_as_they_are():
    found = ruleset.load(ruleset.shipped("s3-germany"))
    assert (
        found.text("title", "de").startswith("Nachsorge nach S3-")
        and found.text("title", "fr") == found.title
    )
    for rule in found.rules:
        assert rule.text("title", "de") not in ("", rule.title) and rule.text("title", "en") == rule.title
        assert rule.text("source", "de") == rule.source


@pytest.mark.parametrize(
    "key, refused",
    [("title_de", False), ("source_fr", False), ("edition_nb", False), ("title_xx", True), ("flag_de", True), ("title_DE", True)],
)  # fmt: skip
def test_a_rule_may_give_its_texts_again_in_a_language_there_is(key, refused):
    faults = [(fault.path, fault.code) for fault in ruleset.check(one_rule(**{key: '"Text"'}))]
    assert faults == ([(f"rule[0:r].{key}", "unknown_key")] if refused else [])


def test_an_empty_text_is_no_text():
    (fault,) = ruleset.check(one_rule(title_de='" "'))
    assert fault.path == "rule[0:r].title_de"


def test_a_stored_plan_holds_no_sentence():
    answer = plan(diagnoses=[MELANOMA])
    kept, shown = answer.to_json(words=False), answer.to_json()
    assert "text" not in kept["due"][0]["reasons"][0] and "text" in shown["due"][0]["reasons"][0]
    assert all("text" not in problem for problem in kept["problems"])
