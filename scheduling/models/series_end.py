from django.db import models

from clinic.models.base import AppendOnly
from clinic.models.visit import Purpose


class SeriesEnd(AppendOnly):
    """A dermatologist's discharge from one series: one rule on one source, such as the checks after one melanoma.

    It ends that series and no other: the checks of the tier go on after a discharge from a tumour.
    """

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="series_ends")
    purpose = models.CharField(max_length=24, choices=Purpose)
    subject = models.CharField(max_length=40)
    rule = models.CharField(max_length=60)
    of = models.CharField(max_length=40)
    ended_on = models.DateField()
    ground_note = models.TextField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-ended_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(ground_note=""), name="a_discharge_has_a_ground"),
        ]

    def __str__(self) -> str:
        return f"{self.rule} of {self.of} ended on {self.ended_on}"
