from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly, Stated


class LesionState(models.TextChoices):
    """What became of a lesion; gone is not the same as benign."""

    WATCHED = "watched", _("watched")
    BIOPSY_DECIDED = "biopsy_decided", _("biopsy or excision decided")
    BIOPSY_TAKEN = "biopsy_taken", _("biopsy taken")
    REMOVED = "removed", _("removed")
    GONE = "gone", _("no longer visible")
    ERROR = "entered_in_error", _("entered in error")


class Side(models.TextChoices):
    """The patient's own side, never the viewer's."""

    LEFT = "left", _("left")
    RIGHT = "right", _("right")
    MIDLINE = "midline", _("midline")


class View(models.TextChoices):
    """Which of the two drawn bodies a point lies on."""

    FRONT = "front", _("front")
    BACK = "back", _("back")


class Monitoring(models.TextChoices):
    """How closely a lesion is watched with pictures."""

    SHORT = "short", _("short: next picture in three months")
    LONG = "long", _("long: next picture in six to twelve months")


class Lesion(Stated):
    """One mark on the skin, with its place in words (site and side) and as a point on the body chart."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="lesions")
    # Small numbers within a patient, because they are said aloud at the couch and written on the skin map.
    label = models.PositiveIntegerField(help_text="1, 2, 3 … within the patient")
    site = models.CharField(max_length=16, help_text="SNOMED CT code of lesions.register.bodymap")
    side = models.CharField(max_length=8, choices=Side)
    # Both words and a point: words are compared and sent elsewhere, the point finds it again among many.
    view = models.CharField(max_length=5, choices=View)
    x = models.FloatField(help_text="chart units, 0 to 1000")
    y = models.FloatField(help_text="chart units, 0 to 1000")
    state = models.CharField(max_length=16, choices=LesionState, default=LesionState.WATCHED)
    monitoring = models.CharField(max_length=5, choices=Monitoring, null=True, blank=True)  # noqa: DJ001 null = not monitored, as in FACTS
    since = models.DateField(help_text="first recorded")
    examined_in_person_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        verbose_name = _("lesion")
        ordering = ["patient", "label"]
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "label"], name="a_lesion_label_is_unique_in_a_patient"
            ),
            models.CheckConstraint(
                condition=Q(state__in=LesionState.values), name="a_lesion_has_a_known_state"
            ),
            models.CheckConstraint(condition=Q(side__in=Side.values), name="a_lesion_has_a_known_side"),
            models.CheckConstraint(
                condition=Q(x__gte=0, x__lte=1000, y__gte=0, y__lte=1000), name="a_lesion_lies_on_the_chart"
            ),
        ]

    def __str__(self) -> str:
        return f"lesion {self.label}"


class Sign(models.TextChoices):
    """A sign that makes a lesion urgent work until a dermatologist has examined it (docs/domain.md, 8)."""

    RAISED = "raised", _("raised")
    FIRM = "firm", _("firm")
    GROWING = "growing", _("growing")
    BLEEDING = "bleeding", _("bleeding")
    NEW = "new", _("new")
    PAINFUL = "painful", _("painful")
    WORRY = "worry", _("a worry without an urgent sign")


class Examination(AppendOnly):
    """An examination in person: a dermatologist has seen and felt a lesion, or the skin that worried a caller."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="examinations")
    lesion = models.ForeignKey(Lesion, null=True, on_delete=models.PROTECT, related_name="examinations")
    visit = models.ForeignKey(
        "clinic.Visit", null=True, on_delete=models.PROTECT, related_name="examinations"
    )
    # Either a visit or a signature in person: both are the same dermatologist at the same couch.
    signoff = models.OneToOneField(
        "lesions.SignOff", null=True, on_delete=models.PROTECT, related_name="examination"
    )
    examined_on = models.DateField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    outcome = models.TextField(blank=True)

    class Meta:
        ordering = ["-examined_on", "-pk"]

    def __str__(self) -> str:
        return f"examined on {self.examined_on}"


class UrgentSign(models.Model):
    """A sign noted on a lesion: urgent work until a row links it to the examination in person that answered it.

    Without a lesion it is a caller's concern about none that is on record.
    """

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="urgent_signs")
    lesion = models.ForeignKey(Lesion, null=True, on_delete=models.PROTECT, related_name="urgent_signs")
    sign = models.CharField(max_length=10, choices=Sign)
    noted_on = models.DateField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT)
    words = models.TextField("in the patient's words", blank=True)
    answered_by = models.ForeignKey(
        Examination, null=True, blank=True, on_delete=models.PROTECT, related_name="answers"
    )
    handed_over = models.ForeignKey(
        "clinic.Step",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="care ended: who looks after it now",
    )

    class Meta:
        ordering = ["-noted_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(sign__in=Sign.values), name="an_urgent_sign_is_a_known_word"),
            models.UniqueConstraint(
                # Only while it is open: the same sign after an examination is news.
                fields=["lesion", "sign", "noted_on"],
                condition=Q(answered_by__isnull=True, handed_over__isnull=True),
                name="an_open_urgent_sign_is_noted_once_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sign} on {self.noted_on}"
