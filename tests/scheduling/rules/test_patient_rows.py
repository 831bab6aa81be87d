"""What no rule set plans: urgent signs, concerns, and the rest of a full skin check (domain.md, 8; "what is owed").

The windows are clinic settings, no source, where nothing else is said.
"""

from datetime import date

import pytest

from tests.scheduling.rules.asking import CHECK, plan, row
from tests.scheduling.rules.build import sign

PART = CHECK | {"on": "2024-03-01", "not_seen": ["scalp"]}
REST = {"purpose": "rest_of_skin_check", "subject": "patient"}


def purposes(**facts):
    return {due.purpose for due in plan(**facts).due}


def test_the_rest_of_a_check_is_owed_within_28_days():
    """domain.md, "what is owed": 28 days, a clinic setting."""
    rest = row(plan(done=[PART]), "rest_of_skin_check")
    assert (rest.earliest, rest.target, rest.latest) == (
        date(2024, 3, 1),
        date(2024, 3, 1),
        date(2024, 3, 29),
    )
    assert (rest.number, rest.urgency, rest.of, rest.rule) == (1, "B", "patient", "rest-of-skin-check")
    assert [(one.of, one.rule, one.anchor) for one in rest.reasons] == [(rest.of, rest.rule, rest.anchor)]


@pytest.mark.parametrize(
    "more, is_owed",
    [
        ({}, True),
        ({"done": [CHECK | {"on": "2024-04-01"}]}, False),  # a later check saw everything
        ({"done": [CHECK | {"on": "2024-02-01"}]}, True),
        ({"done": [CHECK | {"on": "2024-03-01"}]}, False),
        ({"done": [REST | {"on": "2024-03-01"}]}, False),
        ({"done": [REST | {"on": "2024-02-29"}]}, True),
        ({"done": [{"purpose": "risk_assessment", "subject": "patient", "on": "2024-04-01"}]}, True),
    ],
)
def test_what_ends_the_rest_of_a_check(more, is_owed):
    facts = {"done": [PART, *more.get("done", [])]}
    assert ("rest_of_skin_check" in purposes(**facts)) == is_owed


@pytest.mark.parametrize("rule, is_owed", [("rest-of-skin-check", False), ("melanoma-invasive", True)])
def test_only_its_own_closing_ends_the_rest_of_a_check(rule, is_owed):
    closed = [REST | {"rule": rule, "of": "patient", "anchor": "2024-03-01", "on": "2024-03-05"}]
    assert ("rest_of_skin_check" in purposes(done=[PART], closed=closed)) == is_owed


LOOK = {
    "purpose": "lesion_examination",
    "anchor": "2024-05-20",
    "number": 1,
    "ground": "declined",
    "on": "2024-05-25",
}
SIGNS = {"lesions": [{"id": "7", "state": "removed", "urgent": [sign("raised", "2024-05-20", id="3")]}]}
CONCERNS = {"concerns": [sign("raised", "2024-05-20", id="3")]}


@pytest.mark.parametrize(
    "facts, subject, of",
    [(SIGNS, "lesion:7", "sign:3"), (CONCERNS, "patient", "concern:3")],
    ids=["sign", "concern"],
)
def test_an_urgent_row_and_what_ends_it(facts, subject, of):
    """NICE NG12: within 2 weeks; domain.md, 8: urgency A, from the day on which the sign was noted."""
    due = row(plan(**facts), "lesion_examination", subject)
    assert (due.earliest, due.target, due.latest) == (date(2024, 5, 20), date(2024, 5, 20), date(2024, 6, 3))
    assert (due.number, due.urgency, due.of, due.rule) == (1, "A", of, "urgent-sign")
    closed = LOOK | {"subject": subject, "of": of, "rule": "urgent-sign"}
    assert "lesion_examination" not in purposes(**facts, closed=[closed])
    for other in ({"rule": "look-again"}, {"of": f"{of}1"}):
        assert "lesion_examination" in purposes(**facts, closed=[closed | other])


def test_of_several_signs_the_oldest_counts_and_each_word_stands_once():
    signs = [
        sign("firm", "2024-05-22", id="2"),
        sign("raised", "2024-05-20"),
        sign("firm", "2024-05-21", id="3"),
    ]
    due = row(plan(lesions=[{"id": "7", "urgent": signs}]), "lesion_examination", "lesion:7")
    assert (due.of, due.anchor) == ("sign:1", date(2024, 5, 20))
    assert due.reasons[0].text.startswith("Noted on 20 May 2024: raised, firm. ")
    concern = row(plan(concerns=signs), "lesion_examination", "patient")
    assert (concern.of, concern.anchor) == ("concern:1", date(2024, 5, 20))


def test_a_lesion_entered_in_error_owes_no_examination():
    lesion = {"id": "7", "state": "entered_in_error", "urgent": [sign("raised", "2024-05-20")]}
    assert "lesion_examination" not in purposes(lesions=[lesion])
