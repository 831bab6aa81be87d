"""Risk tier of a patient with its reasons; relative risks of single factors are never multiplied.

The tiers follow restated published criteria (RACGP high and moderate rows; Cancer Council Australia's
"very high" for gene carriers); a clinic's own guideline governs.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from clinic import audit, clock
from clinic.models import Member, Patient, RiskAssessment, Tier

Answers = dict[str, Any]
RENEW_AFTER_MONTHS = 12


@dataclass(frozen=True)
class Criterion:
    """`holds` is given the answers and the age in years on the day of assessment."""

    tier: Tier
    words: str
    source: str
    holds: Callable[[Answers, int], bool]


_CCA = "Cancer Council Australia, summary of recommendations: very high risk"
_HIGH = "RACGP risk table, high risk row (restated)"
_MORE = "RACGP risk table, moderate risk row (restated)"

CRITERIA: tuple[Criterion, ...] = (
    Criterion(
        Tier.VERY_HIGH, "carries CDKN2A or an equivalent variant", _CCA, lambda a, age: a["gene_carrier"]
    ),
    Criterion(Tier.HIGH, "melanoma in the past", _HIGH, lambda a, age: a["past_melanoma"]),
    Criterion(
        Tier.HIGH,
        "basal or squamous cell carcinoma in the past",
        _HIGH,
        lambda a, age: a["past_keratinocyte"],
    ),
    Criterion(Tier.HIGH, "more than 20 solar keratoses", _HIGH, lambda a, age: a["many_keratoses"]),
    Criterion(Tier.HIGH, "more than 100 moles", _HIGH, lambda a, age: a["naevi"] == "over100"),
    Criterion(Tier.HIGH, "more than 10 atypical moles", _HIGH, lambda a, age: a["atypical"] == "over10"),
    Criterion(
        Tier.HIGH,
        "first-degree relative with melanoma",
        _HIGH,
        lambda a, age: a["relatives"] > 0 and age > 15,
    ),
    Criterion(Tier.HIGH, "red hair", _HIGH, lambda a, age: a["red_hair"]),
    Criterion(
        Tier.HIGH, "phototype I, older than 45", _HIGH, lambda a, age: a["phototype"] == "I" and age > 45
    ),
    Criterion(
        Tier.HIGH, "phototype II, older than 65", _HIGH, lambda a, age: a["phototype"] == "II" and age > 65
    ),
    Criterion(
        Tier.HIGH,
        "immunosuppressed or transplanted",
        "Australian optimal care pathway, section 1.2",
        lambda a, age: a["immunosuppressed"],
    ),
    Criterion(Tier.ABOVE_AVERAGE, "blue eyes", _MORE, lambda a, age: a["blue_eyes"]),
    Criterion(
        Tier.ABOVE_AVERAGE,
        "phototype I, aged 25 to 45",
        _MORE,
        lambda a, age: a["phototype"] == "I" and 25 <= age <= 45,
    ),
    Criterion(
        Tier.ABOVE_AVERAGE,
        "phototype II, aged 45 to 65",
        _MORE,
        lambda a, age: a["phototype"] == "II" and 45 <= age <= 65,
    ),
    Criterion(
        Tier.ABOVE_AVERAGE,
        "phototype III, older than 65",
        _MORE,
        lambda a, age: a["phototype"] == "III" and age > 65,
    ),
    Criterion(Tier.ABOVE_AVERAGE, "solar keratoses", _MORE, lambda a, age: a["some_keratoses"]),
    Criterion(
        Tier.ABOVE_AVERAGE, "several sunburns in the past", _MORE, lambda a, age: a["blistering_burns"]
    ),
)
FACTORS = (
    "naevi",
    "atypical",
    "phototype",
    "red_hair",
    "blue_eyes",
    "relatives",
    "gene_carrier",
    "past_melanoma",
    "past_keratinocyte",
    "many_keratoses",
    "some_keratoses",
    "blistering_burns",
    "immunosuppressed",
)
_ORDER = [Tier.AVERAGE, Tier.ABOVE_AVERAGE, Tier.HIGH, Tier.VERY_HIGH]


def tier_of(answers: Answers, age: int) -> tuple[Tier, list[dict[str, str]]]:
    """The highest tier of which one criterion holds, and every criterion that holds, highest first."""
    held = [criterion for criterion in CRITERIA if criterion.holds(answers, age)]
    held.sort(key=lambda criterion: -_ORDER.index(criterion.tier))
    tier = held[0].tier if held else Tier.AVERAGE
    return tier, [
        {"text": criterion.words, "source": criterion.source, "tier": criterion.tier.value}
        for criterion in held
    ]


@transaction.atomic
def assess(
    *, patient: Patient, by: Member, assessed_on: date, note: str = "", **answers: Any
) -> RiskAssessment:
    """A dated, signed snapshot; the latest counts and earlier ones stay."""
    tier, reasons = tier_of(answers, patient.age_on(assessed_on))
    row = RiskAssessment.objects.create(
        patient=patient,
        by=by,
        assessed_on=assessed_on,
        note=note,
        tier=tier,
        reasons=reasons,
        changed_at=clock.now(),
        **answers,
    )
    audit.record("risk.assess", by=by, subject=row, patient=patient, tier=tier)
    return row


def current(patient: Patient) -> RiskAssessment | None:
    return patient.risk_assessments.select_related("by").first()
