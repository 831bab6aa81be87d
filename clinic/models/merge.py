"""Two records of one person: pairs that look so, merges, and the ledger by which a merge is undone."""

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly, Stated


class PairState(models.TextChoices):
    OPEN = "open", _("to be looked at")
    TWO_PEOPLE = "two_people", _("two people")
    MERGED = "merged", _("one person, merged")


class PairReason(models.TextChoices):
    BOTH = "both", _("same day of birth, like name, same telephone")
    NAME = "name", _("same day of birth, like name")
    PHONE = "phone", _("same telephone")
    BY_HAND = "by_hand", _("somebody said so")


class LikelyPair(Stated):
    """Two records that may be one person: work until somebody says that they are two, or two people merge them.

    The row stays: a pair that was looked at is never found again.
    """

    one = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="+")
    other = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=8, choices=PairReason)
    # For the order of the list alone. It is no probability, and no page shows it.
    likeness = models.FloatField(default=0)
    found_on = models.DateField()
    due_on = models.DateField()
    state = models.CharField(max_length=10, choices=PairState, default=PairState.OPEN)
    decided_by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["due_on", "-likeness", "pk"]
        verbose_name = _("pair of records")
        indexes = [
            models.Index(
                fields=["due_on", "-likeness", "id"], condition=Q(state="open"), name="open_pairs_in_order"
            )
        ]
        constraints = [
            models.UniqueConstraint(fields=["one", "other"], name="a_pair_of_records_is_found_once"),
            models.CheckConstraint(condition=Q(one__lt=F("other")), name="a_pair_names_the_older_first"),
            models.CheckConstraint(
                condition=Q(state="open", decided_by__isnull=True, decided_at__isnull=True)
                | Q(state__in=("two_people", "merged"), decided_by__isnull=False, decided_at__isnull=False),
                name="a_decided_pair_says_by_whom",
            ),
        ]

    def __str__(self) -> str:
        return f"pair {self.pk}"


class Merge(AppendOnly):
    """A record that was merged into another: a link that two people made and that two can undo."""

    survivor = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="merges")
    gone = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="merged_as")
    reason = models.TextField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    photographs = models.ForeignKey(
        "clinic.PhotoConsent",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="the refusal that holds where the two records' answers differ, until the patient is asked again",
    )

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(survivor=F("gone")), name="a_record_is_merged_into_another"),
            models.CheckConstraint(condition=~Q(by=F("second")), name="a_merge_has_two_people"),
        ]

    def __str__(self) -> str:
        return f"merge {self.pk}"


class Unmerge(AppendOnly):
    """A merge that was undone, by two people again."""

    merge = models.OneToOneField(Merge, on_delete=models.PROTECT, related_name="undone")
    reason = models.TextField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(by=F("second")), name="an_unmerge_has_two_people"),
        ]

    def __str__(self) -> str:
        return f"unmerge {self.pk}"


class MovedRow(AppendOnly):
    """One row that a merge changed, with its values before and after: the whole of what undoing it needs.

    Append-only tables let their patient go only where a row here says so (`clinic/trail/triggers.py`).
    """

    merge = models.ForeignKey(Merge, on_delete=models.PROTECT, related_name="moved")
    back = models.BooleanField(default=False, help_text="moved when the merge was undone")
    kept_in = models.CharField(max_length=60, help_text="the table")
    row = models.BigIntegerField()
    moved_from = models.BigIntegerField(null=True, help_text="the patient whose row it was")
    moved_to = models.BigIntegerField(null=True)
    before: "models.JSONField[Any, Any]" = models.JSONField(default=dict)
    after: "models.JSONField[Any, Any]" = models.JSONField(default=dict)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["kept_in", "row"], name="moved_rows_of_a_table")]

    def __str__(self) -> str:
        return f"{self.kept_in}:{self.row}"
