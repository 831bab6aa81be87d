from django.db import models


class ChoreRun(models.Model):
    """A daily chore runs once for each local date, also when the clock repeats an hour."""

    name = models.CharField(max_length=40)
    day = models.DateField()
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["name", "day"], name="a_chore_runs_once_a_day")]

    def __str__(self) -> str:
        return f"{self.name} on {self.day}"
