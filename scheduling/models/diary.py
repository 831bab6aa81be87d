from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated
from scheduling.models.hours import Resource


class AppointmentState(models.TextChoices):
    """How an appointment stands or ended; who cancelled it decides whose delay it is."""

    BOOKED = "booked", _("booked")
    ATTENDED = "attended", _("came")
    MISSED = "missed", _("did not come")
    CANCELLED_BY_PATIENT = "cancelled_by_patient", _("cancelled by the patient")
    CANCELLED_BY_CLINIC = "cancelled_by_clinic", _("cancelled by us")


class Appointment(Stated):
    """A visit that is booked: when, where, with whom, and for which recalls."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="appointments")
    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="appointments")
    starts_at = models.DateTimeField()
    clinician = models.ForeignKey(
        "clinic.Member",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="whose session it was booked in",
    )
    minutes = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=22, choices=AppointmentState, default=AppointmentState.BOOKED)
    booked_by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    changed_by = models.ForeignKey(
        "clinic.Member",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="who booked, moved or ended it last, and may take that back",
    )
    visit = models.ForeignKey(
        "clinic.Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    not_brought = models.BooleanField(
        default=False, help_text="missed by somebody who depends on others to come: was not brought"
    )
    cancelled_because = models.CharField(
        max_length=200, blank=True, help_text="why it was cancelled, as it was said"
    )
    recalls = models.ManyToManyField("scheduling.Recall", related_name="appointments")
    confirmed_for = models.DateTimeField(
        null=True, blank=True, help_text="the time that the patient confirmed: another one is confirmed anew"
    )

    class Meta:
        ordering = ["starts_at", "pk"]
        verbose_name = _("appointment")
        indexes = [models.Index(fields=["state", "starts_at"]), models.Index(fields=["starts_at"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(minutes__gte=5, minutes__lte=240), name="an_appointment_lasts_5_to_240_minutes"
            ),
            models.CheckConstraint(
                condition=Q(state__in=AppointmentState.values), name="an_appointment_has_a_known_state"
            ),
            models.CheckConstraint(
                condition=Q(not_brought=False) | Q(state="missed"), name="who_was_not_brought_missed_it"
            ),
        ]

    def __str__(self) -> str:
        return f"appointment at {self.starts_at:%Y-%m-%d %H:%M}"


# Cells and no ranges: PostgreSQL could exclude overlapping ranges, SQLite has nothing of the kind.
class BookedCell(models.Model):
    """Five minutes of a resource: the unique row is what makes double booking impossible on both databases."""

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    appointment = models.ForeignKey(Appointment, on_delete=models.CASCADE, related_name="cells")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["resource", "starts_at"], name="a_resource_is_booked_once_at_a_time"
            )
        ]

    def __str__(self) -> str:
        return f"{self.resource_id} at {self.starts_at}"
