from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class Resource(models.Model):
    """A room or a clinician who can be booked; an approved overbook is a resource of its own."""

    name = models.CharField(max_length=60, unique=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Session(models.Model):
    """Bookable hours of a resource on one local day."""

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="sessions")
    day = models.DateField()
    opens = models.TimeField()
    closes = models.TimeField()
    slot_minutes = models.PositiveSmallIntegerField(default=20)

    class Meta:
        ordering = ["day", "opens", "resource"]
        indexes = [models.Index(fields=["day"])]
        constraints = [
            models.UniqueConstraint(fields=["resource", "day", "opens"], name="a_session_opens_once"),
            models.CheckConstraint(
                condition=Q(opens__lt=F("closes")), name="a_session_closes_after_it_opens"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.resource} on {self.day}"


class ClosureDay(models.Model):
    """A day on which the clinic is closed: it moves bookings, never due dates."""

    day = models.DateField(unique=True)
    reason = models.CharField(max_length=80)

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"{self.day}: {self.reason}"


class AppointmentState(models.TextChoices):
    BOOKED = "booked", _("booked")
    ATTENDED = "attended", _("came")
    MISSED = "missed", _("did not come")
    CANCELLED_BY_PATIENT = "cancelled_by_patient", _("cancelled by the patient")
    CANCELLED_BY_CLINIC = "cancelled_by_clinic", _("cancelled by us")


class Appointment(Stated):
    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="appointments")
    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="appointments")
    starts_at = models.DateTimeField()
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
    recalls = models.ManyToManyField("scheduling.Recall", related_name="appointments")

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
