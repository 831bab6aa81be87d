"""What an audit record keeps as codes and values is said in words, and never as a line of a program."""

import ast
from pathlib import Path

import pytest

from clinic.trail import details

ROOT = Path(__file__).parents[3]


def said(**kept):
    return {str(one.label): one.words for one in details.say(kept)}


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ([["full_skin_check", "patient"]], "full skin check"),
        (
            [["full_skin_check", "patient"], ["lesion_image", "lesion:4"]],
            "full skin check, picture of a lesion (lesion:4)",
        ),
        (["phone", "post"], "phone, post"),
        ("5.5", "5.5"),
        (["full_skin_check patient"], "full skin check"),
    ],
)
def test_a_detail_of_the_trail_is_no_line_of_a_program(value, words):
    assert said(done=value) == {"done": words}


def test_codes_days_and_moments_are_said_in_words():
    assert said(route="phone", outcome="no_answer", counts=True) == {
        "way": "telephone", "outcome": "no answer", "counts as an attempt": "yes",
    }  # fmt: skip
    assert said(at="2026-10-20T13:20:00+00:00", attended_on="2026-01-05") == {
        "when": "20 Oct 2026, 14:20", "on": "5 Jan 2026",
    }  # fmt: skip
    assert said(kind="send_specimen", due_on="2026-01-05") == {
        "kind": "send the specimen", "to be done by": "5 Jan 2026",
    }  # fmt: skip
    assert said(role="nurse", status="discharged", decision="excise")["decision"] == "Excise"


def test_what_moved_says_both_and_what_is_empty_says_nothing():
    assert said(moved={"urgency": ["B", "A"], "latest": ["2026-01-01", "2026-02-01"]}) == {
        "changed": "urgency: surveillance, urgent, last day: 1 Jan 2026, 1 Feb 2026"
    }
    longer = [{"what": "full_skin_check patient", "was": "2026-01-01", "is": "2026-02-01", "fewer": False}]
    assert "was: 1 Jan 2026, is now: 1 Feb 2026" in said(longer=longer)["later than before"]
    assert said(why="", until=None, note="as she said") == {"note": "as she said"}


def test_only_what_somebody_wrote_is_nobodys_english():
    own = {
        str(one.label): one.own
        for one in details.say({"note": "Sie kommt", "route": "phone", "on": "2026-01-05"})
    }
    assert own == {"note": True, "way": False, "on": False}


def test_each_detail_that_is_written_has_a_name_for_people():
    """Every keyword of a call of `audit.record` in the program; those that it hands on by ** are said by their keys."""
    taken = {"by", "subject", "patient"}
    written = set()
    for app in ("clinic", "lesions", "scheduling"):
        for path in (ROOT / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.Call) and ast.unparse(node.func) == "audit.record":
                    written |= {word.arg for word in node.keywords if word.arg}
    assert len(written) > 50 and not written - taken - details.LABELS.keys()
