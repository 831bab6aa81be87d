from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated
from clinic.models.visit import Purpose


class PlaceKind(models.TextChoices):
    """What hours are kept for: a place for a biopsy or an excision has its room, its instruments and its length."""

    VISIT = "visit", _("visits")
    BIOPSY = "biopsy", _("biopsies")
    EXCISION = "excision", _("excisions")


class Use(models.TextChoices):
    """Whether places are kept for it here, in another program, or nowhere."""

    ROOM = "room", _("has hours here")
    ELSEWHERE = "elsewhere", _("a diary kept in another program")
    WALK_IN = "walk_in", _("whoever comes without a place")


class Resource(models.Model):
    """A room or a clinician who can be booked; an approved overbook is a resource of its own.

    Only a room has hours, cells and free places: into a diary kept elsewhere any time is typed in as it stands there.
    """

    name = models.CharField(max_length=60, unique=True)
    active = models.BooleanField(default=True)
    use = models.CharField(max_length=9, choices=Use, default=Use.ROOM)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(use__in=Use.values), name="a_resource_has_a_known_use"),
        ]

    def __str__(self) -> str:
        return gettext("without a place") if self.use == Use.WALK_IN else self.name


class Hours(models.Model):
    """From when to when a room can be booked, with whom, for what, and in steps of how many minutes."""

    opens = models.TimeField()
    closes = models.TimeField()
    slot_minutes = models.PositiveSmallIntegerField(default=20)  # clinic setting, no source
    kind = models.CharField(max_length=8, choices=PlaceKind, default=PlaceKind.VISIT)

    class Meta:
        abstract = True


class SessionTemplate(Stated, Hours):
    """Hours that come again on a weekday, every week or every few weeks, until somebody ends them."""

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="templates")
    clinician = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    first_day = models.DateField(help_text="its weekday is that of all its sessions")
    every_weeks = models.PositiveSmallIntegerField(default=1)
    last_day = models.DateField(null=True, blank=True)
    opened_until = models.DateField(
        null=True,
        blank=True,
        help_text="up to this day its sessions were opened: one removed since stays removed",
    )

    class Meta:
        ordering = ["first_day", "opens", "pk"]
        verbose_name = _("session template")
        constraints = [
            models.CheckConstraint(
                condition=Q(opens__lt=F("closes")), name="a_template_closes_after_it_opens"
            ),
            models.CheckConstraint(
                condition=Q(every_weeks__gte=1, every_weeks__lte=12),
                name="a_template_comes_every_1_to_12_weeks",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=PlaceKind.values), name="a_template_is_for_a_known_kind"
            ),
        ]

    def __str__(self) -> str:
        return f"sessions of {self.resource} from {self.first_day}"


class Session(Hours):
    """Bookable hours of a resource on one local day."""

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="sessions")
    clinician = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="sessions"
    )
    template = models.ForeignKey(
        SessionTemplate, null=True, blank=True, on_delete=models.PROTECT, related_name="sessions"
    )
    day = models.DateField()

    class Meta:
        ordering = ["day", "opens", "resource"]
        indexes = [models.Index(fields=["day"])]
        constraints = [
            # Overlaps are asked for when hours are opened; two who open the same hours at once meet this.
            models.UniqueConstraint(fields=["resource", "day", "opens"], name="a_session_opens_once"),
            models.CheckConstraint(
                condition=Q(opens__lt=F("closes")), name="a_session_closes_after_it_opens"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=PlaceKind.values), name="a_session_is_for_a_known_kind"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.resource} on {self.day}"


class ClosureDay(models.Model):
    """A day on which the clinic is closed: it moves bookings, never due dates."""

    day = models.DateField(unique=True)
    reason = models.CharField(max_length=80)
    holiday = models.BooleanField(default=False, help_text="a public holiday, entered by the program")

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"{self.day}: {self.reason}"


class WorkedHoliday(models.Model):
    """A public holiday on which this clinic works all the same: the program closes it no more."""

    day = models.DateField(unique=True)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["day"]

    def __str__(self) -> str:
        return f"open on {self.day}"


class PurposeLength(models.Model):
    """How many minutes one purpose takes in this clinic, where it differs from what is shipped."""

    purpose = models.CharField(max_length=24, choices=Purpose, unique=True)
    minutes = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["purpose"]
        constraints = [
            models.CheckConstraint(
                condition=Q(minutes__gte=5, minutes__lte=240), name="a_purpose_takes_5_to_240_minutes"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.purpose}: {self.minutes}"
