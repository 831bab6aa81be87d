from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    NURSE = "nurse", "nurse"
    DERMATOLOGIST = "dermatologist", "dermatologist"
    MANAGER = "manager", "practice manager"
    ADMINISTRATOR = "administrator", "administrator"


class Member(AbstractUser):
    """A member of staff. `is_demo` marks logins that are refused outside demo mode."""

    role = models.CharField(max_length=20, choices=Role)
    name = models.CharField(max_length=120, help_text="As printed: Dr M. Example")
    checks_skin = models.BooleanField(
        "may record full skin checks", default=False, help_text="Dermatologists always may."
    )
    is_demo = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="a_member_has_a_known_role"
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.username
