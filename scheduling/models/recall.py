from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated
from clinic.models.visit import Purpose


class RecallState(models.TextChoices):
    """How far a recall has come; none closes itself."""

    PLANNED = "planned", _("planned")
    DUE = "due", _("due")
    BOOKED = "booked", _("booked")
    COMPLETED = "completed", _("completed")
    CLOSED = "closed", _("closed with a ground")


OPEN = ("planned", "due", "booked")


class Urgency(models.TextChoices):
    """How much a recall hurries: it decides the ladder, the order of Today and who may close."""

    A = "A", _("urgent")
    B = "B", _("surveillance")
    C = "C", _("reminder")


class Ground(models.TextChoices):
    """Why a recall was closed without being done; every one but the first needs a person."""

    SUPERSEDED = "superseded", _("superseded by another recall")
    DECLINED = "declined", _("declined after being informed")
    TRANSFERRED = "transferred", _("transferred and accepted elsewhere")
    MOVED = "moved", _("moved away, letter sent")
    DECEASED = "deceased", _("deceased")
    DISCHARGE = "discharge", _("clinician's discharge")
    ERROR = "error", _("entered in error")


class Recall(Stated):
    """The duty to get a patient back for one purpose in a window. A missed visit re-opens it, dates unchanged."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="recalls")
    purpose = models.CharField(max_length=24, choices=Purpose)
    subject = models.CharField(max_length=40)
    number = models.PositiveIntegerField()
    anchor = models.DateField()
    earliest = models.DateField()
    target = models.DateField()
    latest = models.DateField()
    urgency = models.CharField(max_length=1, choices=Urgency)
    rule = models.CharField(max_length=60)
    of = models.CharField(
        max_length=40, default="patient", help_text="what the series comes from, such as diagnosis:4"
    )
    policy = models.ForeignKey("clinic.Policy", on_delete=models.PROTECT, related_name="+")
    # Every rule that asks for it, not only the one that governs: ending one series must leave the others.
    reasons = models.JSONField(default=list)
    state = models.CharField(max_length=10, choices=RecallState, default=RecallState.PLANNED)
    opened_on = models.DateField()
    # How often a visit came to nothing: whoever rings next should know it before the patient says so.
    reopened = models.PositiveSmallIntegerField(default=0)
    next_look_on = models.DateField(
        null=True, blank=True, help_text="cannot be reached: looked at again on this day"
    )
    completed_by = models.ForeignKey(
        "clinic.DoneItem", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    evidence = models.CharField(
        max_length=60,
        blank=True,
        help_text="what was done where it is no item of a visit: model label and key",
    )
    ground = models.CharField(max_length=12, choices=Ground, blank=True)
    ground_note = models.TextField(blank=True)
    ended_how = models.JSONField(
        default=dict,
        blank=True,
        help_text="what finished it, or why the plan dropped it: code and parameters",
    )
    ended_on = models.DateField(null=True, blank=True)
    closed_by = models.ForeignKey(
        "clinic.Member",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="empty where the plan itself no longer asks for it",
    )
    proposed_ground = models.CharField(max_length=12, choices=Ground, blank=True)
    proposed_note = models.TextField(blank=True)
    proposed_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["urgency", "latest", "pk"]
        verbose_name = _("recall")
        indexes = [
            models.Index(fields=["state", "earliest"]),
            # With the patient in it, who was missed is counted on every page without a look at the rows.
            models.Index(fields=["state", "latest", "patient"]),
        ]
        constraints = [
            models.UniqueConstraint(
                # Two open ones would be called twice and booked twice, and one of them would be left over.
                fields=["patient", "purpose", "subject"],
                condition=Q(state__in=OPEN),
                name="one_recall_of_a_purpose_is_open",
            ),
            models.CheckConstraint(
                condition=Q(earliest__lte=F("target"), target__lte=F("latest")),
                name="a_recall_window_is_in_order",
            ),
            models.CheckConstraint(
                condition=Q(state__in=RecallState.values), name="a_recall_has_a_known_state"
            ),
            models.CheckConstraint(
                condition=~Q(state="completed") | Q(completed_by__isnull=False) | ~Q(evidence=""),
                name="a_completed_recall_names_what_was_done",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | (~Q(ground="") & Q(ended_on__isnull=False)),
                name="a_closed_recall_has_a_ground",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | Q(ground="superseded") | Q(closed_by__isnull=False),
                name="a_recall_closed_by_hand_names_who_closed_it",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} by {self.latest}"
