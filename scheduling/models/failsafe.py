from django.db import models


class FailsafeRun(models.Model):
    """The nightly count of where everybody is, by a path that shares no code with the lists."""

    day = models.DateField()
    ran_at = models.DateTimeField()
    records = models.PositiveIntegerField()
    # Numbers and keys as they were counted that morning: asked again later, the lists would say something else.
    counts = models.JSONField()
    alarms = models.JSONField(default=list)
    checks_ended = models.JSONField(
        default=list, help_text="no open full skin check, by a rule's end or a discharge"
    )
    holds = models.BooleanField()

    class Meta:
        ordering = ["-ran_at", "-pk"]
        constraints = [models.UniqueConstraint(fields=["day"], name="the_failsafe_counts_once_a_day")]

    def __str__(self) -> str:
        return f"count of {self.day}"
