from django.db import models
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class Tier(models.TextChoices):
    AVERAGE = "average", _("average")
    ABOVE_AVERAGE = "above_average", _("above average")
    HIGH = "high", _("high")
    VERY_HIGH = "very_high", _("very high")


class NaeviBand(models.TextChoices):
    UNDER_16 = "0-15", _("up to 15")
    UNDER_41 = "16-40", _("16 to 40")
    UNDER_101 = "41-100", _("41 to 100")
    OVER_100 = "over100", _("more than 100")


class AtypicalBand(models.TextChoices):
    NONE = "0", _("none")
    FEW = "1-5", _("1 to 5")
    SOME = "6-10", _("6 to 10")
    MANY = "over10", _("more than 10")


class Phototype(models.TextChoices):
    I = "I", _("I: always burns, never tans")  # noqa: E741
    II = "II", _("II: burns easily, tans poorly")
    III = "III", _("III: burns sometimes, tans gradually")
    IV = "IV", _("IV: burns rarely, tans well")
    V = "V", _("V: brown skin")
    VI = "VI", _("VI: dark brown or black skin")


class Counselling(models.TextChoices):
    REFERRED = "referred", _("referral is being made")
    SEEN = "seen", _("was there already")
    NOT_WANTED = "not_wanted", _("offered, and not wanted")
    NOT_NOW = "not_now", _("not now")


class RiskAssessment(Stated):
    """A risk assessment: what was answered on one day, signed and never edited; the latest counts."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="risk_assessments")
    assessed_on = models.DateField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT)
    # Bands, not counts: nobody counts a hundred moles twice alike, and published risks are given by band.
    naevi = models.CharField(_("moles on the whole body"), max_length=8, choices=NaeviBand)
    atypical = models.CharField(_("atypical moles"), max_length=8, choices=AtypicalBand)
    phototype = models.CharField(_("skin phototype"), max_length=4, choices=Phototype)
    red_hair = models.BooleanField(_("red hair"), default=False)
    relatives = models.PositiveSmallIntegerField(_("first-degree relatives with melanoma"), default=0)
    other_relatives = models.PositiveSmallIntegerField(
        _("other relatives with melanoma, and any with pancreatic cancer"), default=0
    )
    gene_carrier = models.BooleanField(_("carries CDKN2A or an equivalent variant"), default=False)
    past_melanoma = models.BooleanField(_("melanoma in the past"), default=False)
    several_melanomas = models.BooleanField(
        _("two or more invasive melanomas, one of them within the last 10 years"), default=False
    )
    dysplastic_syndrome = models.BooleanField(_("dysplastic naevus syndrome"), default=False)
    past_keratinocyte = models.BooleanField(_("basal or squamous cell carcinoma in the past"), default=False)
    family_keratinocyte = models.BooleanField(
        _("a relative with basal or squamous cell carcinoma or solar keratoses"), default=False
    )
    many_keratoses = models.BooleanField(_("more than 20 solar keratoses"), default=False)
    some_keratoses = models.BooleanField(_("some solar keratoses, up to 20"), default=False)
    sunburns = models.BooleanField(_("several sunburns in the past"), default=False)
    blistering_burns = models.BooleanField(_("a sunburn that blistered"), default=False)
    sunbeds = models.BooleanField(_("has used sunbeds"), default=False)
    blue_eyes = models.BooleanField(_("blue eyes"), default=False)
    immunosuppressed = models.BooleanField(_("immunosuppressed by an illness or a medicine"), default=False)
    transplanted = models.BooleanField(_("has received a transplant"), default=False)
    note = models.TextField(_("note"), blank=True)
    # Kept as judged on its day: new criteria move nobody before somebody assesses again.
    tier = models.CharField(max_length=16, choices=Tier)
    reasons = models.JSONField(default=list)
    # Only where the criteria say average and a published figure beside them does not: the tier is the assessor's own.
    chosen_because = models.TextField(_("why this tier"), blank=True)
    counselling = models.CharField(
        _("genetic counselling, or review by a dermatologist"), max_length=12, choices=Counselling, blank=True
    )
    # The criteria that judged it: they hold the words of its reasons.
    policy = models.ForeignKey("clinic.Policy", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-assessed_on", "-pk"]
        verbose_name = _("risk assessment")
        indexes = [models.Index(fields=["patient", "-assessed_on"])]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(tier__in=Tier.values), name="a_risk_assessment_has_a_known_tier"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_tier_display()} on {self.assessed_on}"
