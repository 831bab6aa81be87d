"""What rows keep as a code is a sentence where it is read, in the language of the reader."""

import pytest
from django.utils import translation

from scheduling.counting import duty_count, whereabouts
from scheduling.models import PlanProblem, Recall
from scheduling.planning import wording
from scheduling.rule_changes import wording as rule_words
from scheduling.rules.ruleset import ruleset
from scheduling.templatetags import duties

REPLACED = {"code": "replaced", "rule": "melanoma-invasive", "number": 3, "latest": "2026-07-01"}


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"code": "visit"}, "done in a visit"),
        (REPLACED, "the plan now asks for melanoma-invasive, number 3, by 1 Jul 2026"),
        ({"code": "care_ended", "status": "deceased"}, "care has ended: deceased"),
        ({"code": "not_asked_for"}, "the plan no longer asks for it"),
    ],
)
def test_what_ended_a_recall_is_said_from_its_code(how, words):
    assert wording.ended_words(Recall(ended_how=how)).lower() == words.lower()


def test_every_way_in_which_a_recall_ends_has_its_words():
    given = REPLACED | {"status": "deceased"}
    for code in wording.ENDINGS:
        assert wording.ended_words(Recall(ended_how=given | {"code": code}))


def test_two_questions_of_one_kind_about_one_thing_are_both_asked():
    row = PlanProblem(
        code="contradiction",
        params={"diagnosis": "melanoma", "said": "not_invasive"},
        also=[{"diagnosis": "melanoma_in_situ", "said": "invasive"}],
    )
    assert wording.problem_words(row) == (
        "The diagnosis is melanoma in situ, yet invasive. The diagnosis is melanoma, yet not invasive."
    )


def test_every_alarm_of_a_kept_count_has_its_words():
    kinds = [*duty_count.FACTS, "recall", "ended_duty", "deleted_clinic_visit", "deleted_lesions_urgentsign"]
    codes = [*whereabouts.ALARMS, *whereabouts.FAULTS, "no_open_check", "checks_ended"]
    for code in [*codes, *(f"lost_{kind}" for kind in kinds)]:
        assert whereabouts.Alarm(code, (1,)).words.strip(": ")
    lost = whereabouts.Alarm("lost_recall", (1,))
    assert lost.words == "what the plan asks for: held by no list"


def test_a_reason_of_several_sentences_ends_with_one_full_stop():
    own = {"by": "Dr A", "decided": "2026-01-31", "every": "P6M", "words": "a reason"}
    several = {"rule": "override:1", "code": "own_interval", "params": own, "source": ""}
    one = {"rule": "r", "code": "once", "params": {"schedule": "P1Y"}, "source": "a source"}
    assert duties.reason_words(several).endswith("known on that day.")
    assert duties.reason_words(one) == "every year."
    assert wording.source_words(several) == "clinician's decision: Dr A"


def test_a_rule_is_read_in_the_readers_language_where_the_set_gives_it():
    found = ruleset.load(ruleset.shipped("s3-germany"))
    assert rule_words.title_of(found.rules[0]) == "Melanoma, stage IA"
    with translation.override("de-at"):
        assert rule_words.title_of(found.rules[0]) == "Melanom, Stadium IA"
        assert rule_words.source_of(found.rules[0]) == found.rules[0].source


def test_the_source_of_a_reason_is_worded_from_the_set_that_asks_for_it():
    found = ruleset.load(ruleset.shipped("s3-germany"))
    reason = {"rule": found.rules[0].id, "code": "once", "params": {}, "source": "as it was stored"}
    assert "(second-hand, confirm before use)" in wording.source_words(reason, found)
    assert wording.source_words(reason) == "as it was stored"
