"""Rule sets side by side, against published rows; each check names the publication.

Scotland: NHSScotland, Cutaneous Melanoma National Follow-Up Guideline, 1.0, October 2022. S3: German S3 melanoma guideline
(AWMF 032-024OL), follow-up table, as restated on a patient page. NICE: NG14 Melanoma, 2015, superseded in 2022, as restated.
"""

from datetime import date

import pytest
from django.urls import reverse

from scheduling.models import Plan
from scheduling.rule_changes.comparison import Chosen, column, purposes
from scheduling.rule_changes.what_if import CannotSuppose
from scheduling.rules.plan.wording import phase_labels
from scheduling.rules.ruleset import ruleset
from tests.page import read

DAY = date(2026, 3, 1)
IB = Chosen(code="melanoma", stage="IB", thickness="0.9")
URL = "scheduling:compare"


def asked(name, chosen=IB):
    return column(chosen, ruleset.load(ruleset.shipped(name)), DAY)


def phases(name, purpose, chosen=IB):
    found = asked(name, chosen).planned.get(purpose)
    return phase_labels(found.rules[0])[:-1] if found else None


# (set, purpose, phases): stage IB, 0.9 mm. The shipped set: practitioner's rule, common practice, no source.
ROWS = [
    ("default", "full_skin_check", ["every 3 months for 2 years"]),
    ("scotland-2022", "full_skin_check", ["every 3 to 4 months for 3 years", "every 6 months for 2 years"]),
    ("s3-germany", "full_skin_check", ["every 3 months for 3 years", "every 6 months for 2 years", "every 6 to 12 months for 5 years"]),
    ("s3-germany", "node_ultrasound", ["every 6 months for 3 years"]),
    ("s3-germany", "laboratory", ["every 3 months for 3 years"]),
    ("scotland-2022", "node_ultrasound", None),
    ("default", "laboratory", None),
]  # fmt: skip


@pytest.mark.parametrize(("name", "purpose", "expected"), ROWS)
def test_a_set_answers_with_its_published_row(name, purpose, expected):
    assert phases(name, purpose) == expected


def test_the_first_days_count_from_the_day_of_the_question():
    """Scotland: every 3 to 4 months, so between 1 June and 1 July; S3: every 3 months."""
    scotland, s3 = asked("scotland-2022").planned, asked("s3-germany").planned
    first = scotland["full_skin_check"].first
    assert (first.earliest, first.latest) == (date(2026, 6, 1), date(2026, 7, 1))
    assert s3["full_skin_check"].first.target == date(2026, 6, 1)
    assert s3["full_skin_check"].then == (date(2026, 9, 1), date(2026, 12, 1), date(2027, 3, 1))
    assert s3["node_ultrasound"].first.target == date(2026, 9, 1)


def test_what_nobody_chose_is_no_problem_and_what_no_rule_covers_is():
    assert asked("scotland-2022").problems == ()
    assert {one.code for one in asked("scotland-2022", Chosen(tier="high")).problems} == {"no_rule"}
    unstated = asked("scotland-2022", Chosen(code="melanoma"))
    assert {one.code for one in unstated.problems} == {"cannot_stage"}
    assert unstated.planned["full_skin_check"].may_apply


def test_a_stage_against_its_thickness_is_a_problem():
    """AJCC 8, T category: more than 4 mm is T4, and never stage IA."""
    chosen = Chosen(code="melanoma", stage="IA", thickness="4.5")
    assert "stage_contradiction" in {one.code for one in asked("scotland-2022", chosen).problems}


def test_a_transplant_without_a_published_interval_is_said():
    found = asked("default", Chosen(tier="high", transplant=True))
    assert "after a transplant" in found.problems[0].text


def test_the_purposes_stand_in_one_order_for_all_sets():
    columns = [asked("default"), asked("s3-germany")]
    assert purposes(columns) == ["full_skin_check", "node_ultrasound", "laboratory"]


def test_a_thickness_that_is_none_is_refused_at_its_field():
    with pytest.raises(CannotSuppose) as refused:
        asked("default", Chosen(code="melanoma", thickness="thick"))
    assert refused.value.part == "thickness"


THREE = ["default", "scotland-2022", "s3-germany"]


@pytest.mark.django_db
def test_the_page_puts_three_sets_side_by_side_and_keeps_nothing(signed_in, noon):
    given = {"code": "melanoma", "stage": "IB", "thickness": "0.9", "sets": THREE}
    shown = read(signed_in.get(reverse(URL), given))
    assert "Every 3 to 4 months for 3 years, every 6 months for 2 years, then follow-up ends [1]" in shown
    assert "NHSScotland, Cutaneous Melanoma National Follow-Up Guideline" in shown
    assert "second-hand, confirm before use" in shown and "Not planned by this set." in shown
    assert "First between 17 Sep 2026 and 17 Oct 2026" in shown
    assert not Plan.objects.exists()


@pytest.mark.django_db
def test_a_superseded_edition_says_so_in_its_cell(signed_in):
    shown = read(
        signed_in.get(reverse(URL), {"code": "melanoma", "stage": "IB", "sets": ["default", "nice-2015"]})
    )
    assert "superseded by" in shown


@pytest.mark.django_db
def test_the_set_in_force_can_stand_beside_a_published_one(signed_in, rules):
    shown = read(signed_in.get(reverse(URL), {"tier": "high", "sets": [f"set-{rules.pk}", "s3-germany"]}))
    assert (
        f"Set {rules.version}, in force" in shown and "No rule of the set applies to risk tier high" in shown
    )


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"code": "melanoma", "sets": ["default"]}, "Choose two to four sets."),
        ({"sets": THREE}, "Choose a diagnosis, a tier, or both."),
        ({"code": "melanoma", "transplant": "on", "sets": THREE}, "choose the tier"),
        ({"tier": "high", "thickness": "0.9", "sets": THREE}, "Choose of which diagnosis"),
        ({"code": "melanoma", "thickness": "thick", "sets": THREE}, "This cannot be supposed"),
        ({"code": "melanoma", "sets": ["default", "set-999"]}, "set-999"),
    ],
)
def test_a_question_that_cannot_be_asked_says_why(signed_in, given, said):
    answer = signed_in.get(reverse(URL), given)
    assert answer.status_code == 422 and said in read(answer)


@pytest.mark.django_db
def test_the_rules_page_leads_to_the_comparison(signed_in, rules):
    assert "Compare rule sets side by side" in read(signed_in.get(reverse("scheduling:rules")))
    assert "Nobody’s record is read" in read(signed_in.get(reverse(URL)))
