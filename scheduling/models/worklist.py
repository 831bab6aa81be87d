from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class ItemState(models.TextChoices):
    OPEN = "open", _("to do")
    CLAIMED = "claimed", _("being done")
    DONE = "done", _("done")
    HANDED_BACK = "handed_back", _("handed back")


class WorkItem(Stated):
    """One recall on the list of one local day. Claimed by a guarded update: the row count is the lock."""

    day = models.DateField()
    recall = models.ForeignKey("scheduling.Recall", on_delete=models.PROTECT, related_name="work_items")
    # Fixed in the morning: a list whose rows change places while it is worked on makes people skip some.
    position = models.PositiveIntegerField()
    state = models.CharField(max_length=12, choices=ItemState, default=ItemState.OPEN)
    claimed_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    claimed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["day", "position", "pk"]
        verbose_name = _("work item")
        indexes = [models.Index(fields=["day", "position"], name="the_list_of_a_day_in_order")]
        constraints = [
            models.UniqueConstraint(fields=["day", "recall"], name="a_recall_is_once_on_the_list_of_a_day"),
            models.CheckConstraint(
                condition=~Q(state="claimed") | Q(claimed_by__isnull=False),
                name="a_claimed_item_names_who_claimed_it",
            ),
        ]

    def __str__(self) -> str:
        return f"item {self.position} of {self.day}"
