from django.core.serializers.json import DjangoJSONEncoder
from django.db import models


class Run(models.Model):
    """A result that is worked out in the background and kept; a row without `made_at` is the job."""

    asked_at = models.DateTimeField()
    # So that a worker that died lets go of it after a while.
    started_at = models.DateTimeField(null=True)
    made_at = models.DateTimeField(null=True)
    result = models.JSONField(default=dict, encoder=DjangoJSONEncoder)

    class Meta:
        abstract = True


class PreviewRun(Run):
    """What a proposed rule set would do, worked out in the background."""

    # A draft that is thrown away takes its preview along: it was worked out, and nobody decided by it.
    policy = models.OneToOneField("clinic.Policy", on_delete=models.CASCADE, related_name="preview_run")
    basis = models.CharField(max_length=64, blank=True, help_text="digest of all that the result rests on")

    def __str__(self) -> str:
        return f"preview of {self.policy}"


class YearRun(Run):
    """Visits wanted in the year from `day` on, under one rule set."""

    policy = models.ForeignKey("clinic.Policy", on_delete=models.CASCADE, related_name="+")
    day = models.DateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["policy", "day"], name="a_year_is_counted_once_a_day_for_a_set"),
        ]

    def __str__(self) -> str:
        return f"the year from {self.day}"
