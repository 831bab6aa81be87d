from django.db import models


class Tally(models.Model):
    """What the lists hold, as it was counted last for the masthead: one row, a number by name.

    It holds from `counted_at` until a number changes by the clock alone, and as long as no `TallyMark` stands.
    """

    numbers = models.JSONField(default=dict)
    counted_at = models.DateTimeField()
    until = models.DateTimeField()
    # Who counted names the revision it saw, so that of two who count at once the older count is not kept.
    revision = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"counted at {self.counted_at:%Y-%m-%d %H:%M}"


class TallyMark(models.Model):
    """A transaction that wrote what the masthead counts; written by triggers (`clinic/tally/tally_marks.py`).

    On PostgreSQL a row for each transaction, so that nobody waits for another. SQLite has one writer and one row, of
    which `times` tells that somebody wrote again.
    """

    id = models.BigIntegerField(primary_key=True)
    times = models.PositiveBigIntegerField(default=1)

    def __str__(self) -> str:
        return f"mark {self.pk}, {self.times} times"
