"""Tiers against restated published criteria (named in clinic/tiers.toml): RACGP rows as on a clinic page."""

from datetime import date

import pytest

from clinic.people import risk
from clinic.tiers import reading
from tests import build

# (answers, age, tier). Source: RACGP risk table (restated); Cancer Council Australia for the gene carrier.
TABLE = [
    ({}, 60, "average"),
    ({"gene_carrier": True}, 30, "very_high"),
    ({"naevi": "over100"}, 30, "high"),
    ({"naevi": "41-100"}, 30, "average"),
    ({"atypical": "over10"}, 30, "high"),
    ({"atypical": "6-10"}, 30, "average"),
    ({"past_melanoma": True}, 50, "high"),
    ({"past_keratinocyte": True}, 50, "high"),
    ({"many_keratoses": True}, 50, "high"),
    ({"red_hair": True}, 20, "high"),
    ({"relatives": 1}, 16, "high"),
    ({"relatives": 1}, 15, "average"),
    ({"phototype": "I"}, 46, "high"),
    ({"phototype": "I"}, 45, "above_average"),
    ({"phototype": "I"}, 25, "above_average"),
    ({"phototype": "I"}, 24, "average"),
    ({"phototype": "II"}, 66, "high"),
    ({"phototype": "II"}, 65, "above_average"),
    ({"phototype": "II"}, 44, "average"),
    ({"phototype": "III"}, 66, "above_average"),
    ({"phototype": "III"}, 65, "average"),
    ({"blue_eyes": True}, 30, "above_average"),
    ({"some_keratoses": True}, 30, "above_average"),
    ({"family_keratinocyte": True}, 30, "above_average"),
    ({"blistering_burns": True}, 30, "above_average"),
    ({"immunosuppressed": True}, 30, "high"),
]


@pytest.mark.parametrize("answers, age, tier", TABLE)
def test_the_tier_follows_the_published_row(answers, age, tier):
    found, reasons = reading.load(risk.shipped()).judge(build.AVERAGE_ANSWERS | answers | {"age": age})
    assert found == tier
    assert bool(reasons) == (tier != "average")


def test_every_reason_is_kept_highest_first_with_its_source():
    answers = build.AVERAGE_ANSWERS | {"blue_eyes": True, "gene_carrier": True, "red_hair": True, "age": 40}
    tier, reasons = reading.load(risk.shipped()).judge(answers)
    assert tier == "very_high"
    assert [reason.tier for reason in reasons] == ["very_high", "high", "above_average"]
    assert all(reason.source for reason in reasons)


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
    assert found[someone.pk] == risk.StandingTier("high", days[4], days[2], days[3])
    assert found[other.pk] == risk.StandingTier("average", *[date(2025, 1, 1)] * 3)
