from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated
from clinic.models.visit import Purpose


class Override(Stated):
    """A dermatologist's interval or date in place of the rules. It is never edited, only ended."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="overrides")
    purpose = models.CharField(max_length=24, choices=Purpose)
    subject = models.CharField(max_length=40)
    interval = models.CharField(max_length=16, blank=True, help_text="ISO 8601, such as P6M")
    date = models.DateField(null=True, blank=True)
    until = models.DateField(null=True, blank=True)
    reason = models.TextField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    decided_on = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    ended_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["-decided_on", "-pk"]
        verbose_name = _("clinician's decision")
        constraints = [
            # Of two that stand nobody could say which one the patient is called by.
            models.UniqueConstraint(
                fields=["patient", "purpose", "subject"],
                condition=Q(ended_on__isnull=True),
                name="one_override_of_a_purpose_stands",
            ),
            models.CheckConstraint(
                condition=(Q(interval="") & Q(date__isnull=False)) | (~Q(interval="") & Q(date__isnull=True)),
                name="an_override_gives_an_interval_or_a_date",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="an_override_has_a_reason"),
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True, ended_by__isnull=True, ended_reason="")
                | (Q(ended_on__isnull=False, ended_by__isnull=False) & ~Q(ended_reason="")),
                name="an_ended_override_says_by_whom_and_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} {self.interval or self.date}"
