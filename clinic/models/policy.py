from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class PolicyKind(models.TextChoices):
    RULES = "rules", _("recall rules")
    FLAGS = "flags", _("limits of the measures")
    TIERS = "tiers", _("criteria of the risk tiers")
    DUTY_LIMITS = "duty_limits", _("limits of duties")
    LADDER = "ladder", _("how people are tried")


class PolicyState(models.TextChoices):
    DRAFT = "draft", _("draft")
    PROPOSED = "proposed", _("proposed")
    IN_FORCE = "in_force", _("in force")
    REPLACED = "replaced", _("replaced")


class Policy(Stated):
    """Data that people approve: two different people propose and approve; a text in force never changes."""

    kind = models.CharField(max_length=12, choices=PolicyKind)
    version = models.PositiveIntegerField()
    # The whole text, not its parts: what two people signed is just what they read.
    toml = models.TextField()
    sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=PolicyState, default=PolicyState.DRAFT)
    proposed_by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    approved_by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    in_force_from = models.DateField(null=True)

    class Meta:
        ordering = ["kind", "-version"]
        verbose_name = _("policy")
        constraints = [
            models.UniqueConstraint(fields=["kind", "version"], name="a_policy_version_exists_once"),
            models.UniqueConstraint(
                fields=["kind"], condition=Q(state="in_force"), name="one_policy_of_a_kind_is_in_force"
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["in_force", "replaced"])
                | (
                    Q(proposed_by__isnull=False)
                    & Q(approved_by__isnull=False)
                    & Q(in_force_from__isnull=False)
                    & ~Q(proposed_by=F("approved_by"))
                ),
                name="a_policy_in_force_has_two_different_signatures",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.version}"
