"""Tiers against published criteria (`clinic/tiers/criteria.toml`); each row of the table names its publication."""

from datetime import date

import pytest

from clinic.models import AuditRecord, RiskAssessment
from clinic.people import risk
from clinic.tiers import reading
from tests import build

# AFP: Sinclair, Skin checks, Australian Family Physician 2012;41:464-469, risk table, as restated on clinic pages that cite
# it. CCA: Cancer Council Australia, Clinical practice guidelines for the diagnosis and management of melanoma, Summary of
# recommendations. OCP: Cancer Council, Optimal care pathway for people with melanoma, 2nd edition, section 1.2, as read.
# MOL: Moloney et al., JAMA Dermatology 2014;150:819-827, abstract; that one melanoma of two lies within 10 years: from memory.
# (publication, answers, age, tier)
TABLE = [
    ("AFP", {}, 60, "average"),
    ("CCA", {"gene_carrier": True}, 30, "very_high"),
    ("OCP", {"naevi": "over100"}, 30, "high"),
    ("AFP", {"naevi": "41-100"}, 30, "average"),
    ("AFP", {"atypical": "over10"}, 30, "high"),
    ("OCP", {"atypical": "6-10"}, 30, "high"),
    ("OCP", {"atypical": "1-5"}, 30, "average"),
    ("OCP", {"past_melanoma": True}, 50, "high"),
    ("OCP", {"past_keratinocyte": True}, 50, "high"),
    ("AFP", {"many_keratoses": True}, 50, "high"),
    ("AFP", {"red_hair": True}, 20, "high"),
    ("AFP", {"relatives": 1}, 16, "high"),
    ("OCP", {"relatives": 1}, 15, "high"),
    ("AFP", {"phototype": "I"}, 46, "high"),
    ("AFP", {"phototype": "I"}, 45, "above_average"),
    ("AFP", {"phototype": "I"}, 25, "above_average"),
    ("AFP", {"phototype": "I"}, 24, "average"),
    ("AFP", {"phototype": "II"}, 66, "high"),
    ("AFP", {"phototype": "II"}, 65, "above_average"),
    ("AFP", {"phototype": "II"}, 44, "average"),
    ("AFP", {"phototype": "III"}, 66, "above_average"),
    ("AFP", {"phototype": "III"}, 65, "average"),
    ("AFP", {"blue_eyes": True}, 30, "above_average"),
    ("AFP", {"some_keratoses": True}, 30, "above_average"),
    ("AFP", {"family_keratinocyte": True}, 30, "above_average"),
    ("AFP", {"sunburns": True}, 30, "above_average"),
    ("OCP", {"blistering_burns": True}, 30, "high"),
    ("OCP", {"sunbeds": True}, 30, "high"),
    ("OCP", {"immunosuppressed": True}, 30, "high"),
    ("OCP", {"transplanted": True}, 30, "high"),
    ("MOL", {"past_melanoma": True, "several_melanomas": True}, 50, "very_high"),
    ("MOL", {"past_melanoma": True, "dysplastic_syndrome": True}, 50, "very_high"),
    ("MOL", {"past_melanoma": True, "relatives": 1, "other_relatives": 2}, 50, "very_high"),
    ("OCP", {"past_melanoma": True, "relatives": 1, "other_relatives": 1}, 50, "high"),
]
NAMES = {"AFP": "Australian Family Physician", "CCA": "Cancer Council Australia", "OCP": "Optimal care pathway", "MOL": "Moloney"}  # fmt: skip
SET = reading.load(risk.shipped())


def answers_with(age=40, **answers):
    return risk.all_answers(build.AVERAGE_ANSWERS | answers, age)


@pytest.mark.parametrize("publication, answers, age, tier", TABLE)
def test_the_tier_follows_the_published_row(publication, answers, age, tier):
    found, reasons = SET.judge(answers_with(age, **answers))
    assert found == tier
    assert bool(reasons) == (tier != "average")
    leading = [reason.source for reason in reasons if reason.tier == tier]
    assert not reasons or any(NAMES[publication] in source for source in leading)


def test_every_reason_is_kept_highest_first_with_its_source():
    tier, reasons = SET.judge(answers_with(blue_eyes=True, gene_carrier=True, red_hair=True))
    assert tier == "very_high"
    assert [reason.tier for reason in reasons] == ["very_high", "high", "above_average"]
    assert all(reason.source for reason in reasons)


# Gandini et al., Eur J Cancer 2005;41:28-44 (five atypical moles 6.36; 81 to 100 moles 4.74, from memory); Chang et al., Int J
# Cancer 2009;124:420-428 (any atypical mole 4.0); Scottish Intercollegiate Guidelines Network, Cutaneous melanoma (51 to
# 100 moles: 3.2 to 3.7). Below 3: Gandini et al. (16 to 40 moles 1.47). That 3 is the limit: clinic setting, no source.
@pytest.mark.parametrize(
    ("answers", "figures"),
    [
        ({"atypical": "1-5"}, {6.36, 4.0}),
        ({"naevi": "41-100"}, {4.74, 3.26, 3.2}),
        ({"naevi": "16-40"}, set()),
        ({"naevi": "41-100", "blue_eyes": True}, set()),
        ({"atypical": "6-10"}, set()),
    ],
)
def test_an_average_tier_beside_a_risk_of_three_is_left_open(answers, figures):
    assert {row.value for row in SET.against_average(answers_with(30, **answers))} == figures


# Optimal care pathway, section 1.2: two first-degree relatives; step 3, and Royal Australian College of General
# Practitioners, Genomics in general practice, Familial melanoma: three or more with melanoma or pancreatic cancer.
@pytest.mark.parametrize(
    ("relatives", "others", "prompts"),
    [
        (1, 1, []),
        (2, 0, ["two-relatives"]),
        (0, 3, ["three-relatives"]),
        (1, 2, ["three-relatives"]),
        (3, 0, ["two-relatives", "three-relatives"]),
    ],
)
def test_affected_relatives_put_the_genetic_question(relatives, others, prompts):
    known = answers_with(relatives=relatives, other_relatives=others)
    assert [prompt.id for prompt in SET.prompts_of(known)] == prompts


def assessed(**answers):
    """As a page asks for it, without the builder's own choice."""
    if risk.in_force() is None:
        build.tiers_in_force()
    patient, by = build.patient(born=date(1990, 1, 1)), build.dermatologist()
    return risk.assess(
        patient=patient, by=by, assessed_on=date(2026, 1, 5), **(build.AVERAGE_ANSWERS | answers)
    )


MOLES = {"naevi": "41-100"}


@pytest.mark.django_db
@pytest.mark.parametrize("given", [{}, {"chosen": "high"}, {"chosen_because": "many"}, {"chosen": "high", "chosen_because": " "}])  # fmt: skip
def test_where_it_is_left_open_a_tier_and_its_reason_are_needed(given):
    with pytest.raises(risk.DecisionNeeded) as refused:
        assessed(**MOLES, **given)
    missing = {"chosen", "chosen_because"} - {name for name, words in given.items() if words.strip()}
    assert refused.value.fields.keys() == missing
    assert {row.id for row in refused.value.against} >= {"moles-81-100", "moles-61-80"}
    assert not RiskAssessment.objects.exists()


@pytest.mark.django_db
def test_a_chosen_tier_is_stored_and_audited_with_its_reason():
    row = assessed(**MOLES, chosen="high", chosen_because="About 90 moles, counted twice.")
    assert (row.tier, row.reasons, row.chosen_because) == ("high", [], "About 90 moles, counted twice.")
    details = AuditRecord.objects.get(action="risk.assess").details
    assert (details["tier"], details["chosen_because"]) == ("high", "About 90 moles, counted twice.")


@pytest.mark.django_db
def test_where_the_criteria_decide_nobody_chooses():
    with pytest.raises(risk.RiskRefused, match="The criteria give the tier high"):
        assessed(red_hair=True, chosen="average", chosen_because="seems low")


@pytest.mark.django_db
def test_three_relatives_need_the_assessors_word_on_counselling():
    with pytest.raises(risk.DecisionNeeded, match="genetic counselling: your decision") as refused:
        assessed(relatives=1, other_relatives=2)
    assert refused.value.fields.keys() == {"counselling"}
    row = assessed(relatives=1, other_relatives=2, counselling="referred")
    assert row.counselling == "referred" and row.tier == "high"
    assert AuditRecord.objects.get(action="risk.assess").details["counselling"] == "referred"
    with pytest.raises(risk.RiskRefused, match="Nothing is asked"):
        assessed(counselling="referred")


@pytest.mark.django_db
def test_a_chosen_tier_is_not_taken_for_a_changed_criterion():
    row = assessed(**MOLES, chosen="high", chosen_because="counted")
    same = build.policy_in_force("tiers", risk.shipped() + "\n# another version\n")
    assert risk.differs(row, same) is None


@pytest.mark.django_db
def test_a_new_figure_of_three_or_more_asks_to_assess_an_average_again():
    """The figure for any atypical mole: Chang et al., Int J Cancer 2009;124:420-428."""
    without = risk.shipped().partition("\n[[context]]")[0]
    build.policy_in_force("tiers", without)
    row = assessed(atypical="1-5")
    found = risk.differs(row, build.policy_in_force("tiers", risk.shipped()))
    assert row.tier == "average" and found.left_open


@pytest.mark.django_db
def test_a_transplant_is_among_the_facts_of_the_plan():
    row = assessed(transplanted=True)
    assert risk.standing([row.patient_id])[row.patient_id].transplant is True


@pytest.mark.django_db
def test_the_latest_assessment_counts_and_earlier_ones_stay():
    someone = build.patient(born=date(1950, 1, 1))
    build.risk_assessment(someone, on=date(2025, 1, 1), red_hair=True)
    build.risk_assessment(someone, on=date(2026, 1, 1))
    build.risk_assessment(someone, on=date(2024, 1, 1), gene_carrier=True)
    assert risk.current(someone).tier == "average"
    assert someone.risk_assessments.count() == 3


@pytest.mark.django_db
def test_the_age_is_that_of_the_day_of_assessment():
    someone = build.patient(born=date(1980, 6, 1))
    row = build.risk_assessment(someone, on=date(2026, 5, 31), phototype="I")
    assert row.tier == "above_average"
    assert build.risk_assessment(someone, on=date(2026, 6, 1), phototype="I").tier == "high"


@pytest.mark.django_db
def test_since_when_a_tier_stands_is_broken_only_by_average_risk():
    someone, other = build.patient(born=date(1950, 1, 1)), build.patient(born=date(1990, 1, 1))
    build.risk_assessment(other, on=date(2025, 1, 1))
    days = [date(year, 1, 1) for year in range(2020, 2026)]
    answers = [{"red_hair": True}, {}, {"red_hair": True}, {"gene_carrier": True}, {"red_hair": True}]
    for day, given in zip(days, answers, strict=False):
        build.risk_assessment(someone, on=day, **given)
    found = risk.standing([someone.pk, other.pk])
    assert found[someone.pk] == risk.StandingTier("high", days[4], days[2], days[3], False)
    assert found[other.pk] == risk.StandingTier("average", *[date(2025, 1, 1)] * 3, False)
