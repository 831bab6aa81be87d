from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly


class ChecklistKind(models.TextChoices):
    """The published checklists that can be filled in."""

    ABCD = "abcd", _("ABCD rule of dermoscopy")
    WEIGHTED = "weighted-7", _("Weighted 7-point checklist")
    DERMOSCOPIC = "dermoscopic-7", _("7-point checklist of dermoscopy")
    THREE = "three-point", _("3-point checklist of dermoscopy")


class Checklist(AppendOnly):
    """A published checklist as a dermatologist filled it in. Append-only: a wrong one is filled in again."""

    lesion = models.ForeignKey("lesions.Lesion", on_delete=models.PROTECT, related_name="checklists")
    # What was looked at: the picture in sight, the lesion itself in a visit, or both.
    image = models.ForeignKey(
        "lesions.Image", null=True, blank=True, on_delete=models.PROTECT, related_name="checklists"
    )
    visit = models.ForeignKey(
        "clinic.Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="checklists"
    )
    kind = models.CharField(max_length=16, choices=ChecklistKind)
    entries = models.JSONField()
    # Kept as it was added up: a sum that was shown beside its threshold must not change with the program.
    score = models.DecimalField(max_digits=3, decimal_places=1)
    threshold_met = models.BooleanField(help_text="the published threshold, in the words of its source")
    reading = models.CharField(max_length=24, help_text="the published threshold that the sum is laid beside")
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    filled_on = models.DateField()
    filled_at = models.DateTimeField()

    class Meta:
        ordering = ["-filled_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=ChecklistKind.values), name="a_checklist_is_a_published_one"
            ),
            models.CheckConstraint(
                condition=Q(image__isnull=False) | Q(visit__isnull=False),
                name="a_checklist_is_of_a_picture_or_a_visit",
            ),
            models.CheckConstraint(condition=~Q(reading=""), name="a_checklist_quotes_its_threshold"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.score}"
