from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class Role(models.TextChoices):
    NURSE = "nurse", _("nurse")
    DERMATOLOGIST = "dermatologist", _("dermatologist")
    MANAGER = "manager", _("practice manager")
    ADMINISTRATOR = "administrator", _("administrator")


class Member(AbstractUser):
    """A member of staff. `is_demo` marks logins that are refused outside demo mode."""

    role = models.CharField(_("role"), max_length=20, choices=Role)
    name = models.CharField(_("name"), max_length=120, help_text=_("As printed: Dr M. Example"))
    checks_skin = models.BooleanField(
        _("may record full skin checks"), default=False, help_text=_("Dermatologists always may.")
    )
    # Their password is printed by the demo: in a real clinic such a login would be an open door.
    is_demo = models.BooleanField(default=False)

    class Meta:
        verbose_name = _("member of staff")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="a_member_has_a_known_role"
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.username


class Leave(Stated):
    """Days on which a member is away, and who stands in. Withdrawn ones stay on record and count for nothing."""

    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="leaves")
    deputy = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")
    first_day = models.DateField()
    last_day = models.DateField()
    noted_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    noted_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(Member, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name = _("leave")
        ordering = ["first_day", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(last_day__gte=models.F("first_day")), name="a_leave_ends_after_it_begins"
            ),
            models.CheckConstraint(
                condition=~models.Q(deputy=models.F("member")), name="nobody_stands_in_for_oneself"
            ),
        ]

    def __str__(self) -> str:
        return f"leave of {self.member} from {self.first_day} to {self.last_day}"
