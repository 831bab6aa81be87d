from django.db import models


class ChoreRun(models.Model):
    """One run of a daily chore on a local date: once, even if the clock repeats an hour; a failed one is tried again.

    `not_before` is the lease of the run under way and, after a failure, the end of the pause.
    """

    name = models.CharField(max_length=40)
    day = models.DateField()
    started_at = models.DateTimeField()
    # One moment for both, so that the lock asks one question: may somebody begin now?
    not_before = models.DateTimeField()
    attempts = models.PositiveIntegerField(default=0)
    failure = models.CharField(max_length=80, blank=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["name", "day"], name="a_chore_runs_once_a_day")]

    def __str__(self) -> str:
        return f"{self.name} on {self.day}"


class Heartbeat(models.Model):
    """When a part of the program last gave a sign of life: a process, or a kind of work that gets on."""

    name = models.CharField(max_length=40, unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.name} at {self.at}"
