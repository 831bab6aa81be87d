"""Why a lesion waits, in words: made from what its row keeps, in the language of who reads."""

import pytest

from lesions.limits.flags import FlagDraft
from lesions.review import wording
from lesions.review.questions import Question

FAILED = {"failure": {"code": "encloses_nothing", "params": {}}}
BLURRED = {"name": "focus", "value": 0.1, "limit": 0.22, "ok": False}


@pytest.mark.parametrize(
    ("flag", "text"),
    [
        (FlagDraft("no_limits"), "No limits are in force, so every picture is looked at."),
        (FlagDraft("nothing_to_compare"), "There is no earlier picture to compare with."),
        (
            FlagDraft("doubtful", {"doubts": [{"code": "ragged", "params": {}}]}),
            "Check the outline. The outline is unusually ragged. Its measures are held against no limit until then.",
        ),
        (
            FlagDraft("doubtful", {"doubts": [{"code": "rim_unmoved", "params": {}}], "of_comparison": True}),
            "Check the outline. The outline moved although the rim was not seen to move with it. "
            "Until then its change of size is not sure.",
        ),
        (
            FlagDraft("doubtful", {"of_earlier": True}),
            "Check the outline of the earlier picture: no change is held against a limit.",
        ),
        (
            FlagDraft("inadequate", {"quality": [BLURRED]}),
            "The photograph falls short. Sharpness 0.10, at least 0.22 is wanted. "
            "Hold still, refocus and take it again.",
        ),
        (
            FlagDraft("unaligned", {"reasons": [{"code": "scales_disagree", "params": {"off": 0.2}}]}),
            "The two pictures could not be laid on each other. "
            "The skin fits at a size 20% off what the two scales say; check both scales.",
        ),
        (
            FlagDraft("unmeasured", {"values": ["feret"], "changes": ["area", "area_px"]}),
            "Not measured: largest diameter. No change could be told of: area.",
        ),
        (FlagDraft("unmeasured", FAILED), "The picture could not be measured. The outline encloses nothing."),
        (FlagDraft("second_reading", {"by": "Dr Ash"}), "Dr Ash asks for a second reading."),
        (
            FlagDraft("area_growth", {"sentence": "The area grew.", "compared_with": "2026-03-02"}),
            "The area grew. Compared with 2 Mar 2026.",
        ),
        (
            FlagDraft(
                "new_colour", {"sentence": "A colour is new.", "new": ["colour_white", "colour_blue_grey"]}
            ),
            "A colour is new. Above the limit now: white, blue-grey.",
        ),
        (
            FlagDraft("area_growth", {"sentence": "The area grew.", "undecided": "earlier_picture"}),
            "The area grew. Seen on an earlier picture and not decided yet.",
        ),
    ],
)
def test_a_flag_is_read_as_sentences(flag, text):
    assert str(wording.flag_words(flag)) == text


def test_the_sentence_of_the_clinics_limits_stands_apart_as_its_own():
    said = wording.flag_words(FlagDraft("diameter", {"sentence": "Unser Satz."}, value=7.0, unit="mm"))
    assert (said.own, said.said, said.value, said.unit) == ("Unser Satz.", "", 7.0, "mm")


@pytest.mark.parametrize("code", wording._BY_CODE)
def test_no_flag_of_the_program_is_a_limit_of_the_clinic(code):
    """A limit may bear the same code; what its row keeps says which of the two it is."""
    assert wording.flag_words(FlagDraft(code, {"sentence": "Ours."})).own == "Ours."


def test_a_question_names_the_days_of_the_plan():
    asked = Question(
        "plan_asks_earlier", {"months": 12, "day": "2027-11-26", "from": "2027-02-01", "to": "2027-05-01"}
    )
    assert wording.question(asked) == (
        "You write 12 months, that is 26 Nov 2027; the plan will ask earlier, between 1 Feb 2027 and 1 May 2027."
    )
