from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _


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
