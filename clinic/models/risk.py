from django.db import models

from clinic.models.base import Stated


class Tier(models.TextChoices):
    AVERAGE = "average", "average"
    ABOVE_AVERAGE = "above_average", "above average"
    HIGH = "high", "high"
    VERY_HIGH = "very_high", "very high"


class NaeviBand(models.TextChoices):
    UNDER_16 = "0-15", "up to 15"
    UNDER_41 = "16-40", "16 to 40"
    UNDER_101 = "41-100", "41 to 100"
    OVER_100 = "over100", "more than 100"


class AtypicalBand(models.TextChoices):
    NONE = "0", "none"
    FEW = "1-5", "1 to 5"
    SOME = "6-10", "6 to 10"
    MANY = "over10", "more than 10"


class Phototype(models.TextChoices):
    I = "I", "I: always burns, never tans"  # noqa: E741
    II = "II", "II: burns easily, tans poorly"
    III = "III", "III: burns sometimes, tans gradually"
    IV = "IV", "IV: burns rarely, tans well"
    V = "V", "V: brown skin"
    VI = "VI", "VI: dark brown or black skin"


class Counselling(models.TextChoices):
    REFERRED = "referred", "referral is being made"
    SEEN = "seen", "was there already"
    NOT_WANTED = "not_wanted", "offered, and not wanted"
    NOT_NOW = "not_now", "not now"


class RiskAssessment(Stated):
    """A risk assessment: what was answered on one day, signed and never edited; the latest counts."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="risk_assessments")
    assessed_on = models.DateField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT)
    naevi = models.CharField("moles on the whole body", max_length=8, choices=NaeviBand)
    atypical = models.CharField("atypical moles", max_length=8, choices=AtypicalBand)
    phototype = models.CharField("skin phototype", max_length=4, choices=Phototype)
    red_hair = models.BooleanField("red hair", default=False)
    relatives = models.PositiveSmallIntegerField("first-degree relatives with melanoma", default=0)
    other_relatives = models.PositiveSmallIntegerField(
        "other relatives with melanoma, and any with pancreatic cancer", default=0
    )
    gene_carrier = models.BooleanField("carries CDKN2A or an equivalent variant", default=False)
    past_melanoma = models.BooleanField("melanoma in the past", default=False)
    several_melanomas = models.BooleanField(
        "two or more invasive melanomas, one of them within the last 10 years", default=False
    )
    dysplastic_syndrome = models.BooleanField("dysplastic naevus syndrome", default=False)
    past_keratinocyte = models.BooleanField("basal or squamous cell carcinoma in the past", default=False)
    family_keratinocyte = models.BooleanField(
        "a relative with basal or squamous cell carcinoma or solar keratoses", default=False
    )
    many_keratoses = models.BooleanField("more than 20 solar keratoses", default=False)
    some_keratoses = models.BooleanField("some solar keratoses, up to 20", default=False)
    sunburns = models.BooleanField("several sunburns in the past", default=False)
    blistering_burns = models.BooleanField("a sunburn that blistered", default=False)
    sunbeds = models.BooleanField("has used sunbeds", default=False)
    blue_eyes = models.BooleanField("blue eyes", default=False)
    immunosuppressed = models.BooleanField("immunosuppressed by an illness or a medicine", default=False)
    transplanted = models.BooleanField("has received a transplant", default=False)
    note = models.TextField(blank=True)
    tier = models.CharField(max_length=16, choices=Tier)
    reasons = models.JSONField(default=list)
    # Only where the criteria say average and a published figure beside them does not: the tier is the assessor's own.
    chosen_because = models.TextField("why this tier", blank=True)
    counselling = models.CharField(
        "genetic counselling, or review by a dermatologist", max_length=12, choices=Counselling, blank=True
    )
    # The criteria that judged it; none where it was recorded before the criteria were data.
    policy = models.ForeignKey("clinic.Policy", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-assessed_on", "-pk"]
        indexes = [models.Index(fields=["patient", "-assessed_on"])]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(tier__in=Tier.values), name="a_risk_assessment_has_a_known_tier"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_tier_display()} on {self.assessed_on}"
