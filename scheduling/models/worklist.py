"""The desk: who stands on Today and where, who works on whom, and the calls that were begun."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated
from clinic.models.patient import RouteKind
from scheduling.models.contact import Outcome
from scheduling.models.recall import Urgency


class Section(models.IntegerChoices):
    """The sections of Today in the order in which they are worked through; everybody stands in the first that fits."""

    OUTCOME = 1, _("Outcome missing")
    TELL = 2, _("A result to tell")
    PHONE = 3, _("To phone now")
    WRITE = 4, _("To write to")
    REBOOK = 5, _("To rebook")
    CONFIRM = 6, _("To confirm for the next days")
    PUT_RIGHT = 7, _("To put right")
    LATER = 8, _("Later")


class PartOfDay(models.TextChoices):
    """When somebody is rung. In the order of the codes, so that an index holds it: any time lies between the two."""

    MORNING = "am", _("in the morning")
    ANY = "any", _("at any time")
    AFTERNOON = "pm", _("in the afternoon")


class DeskLine(models.Model):
    """One person on Today. Worked out from what is owed (`scheduling/today/standing.py`) and never written by hand.

    A caller whom nobody could find is a line without a patient: its `first` is the duty to file the call.
    """

    # Worked out from other rows and never a record itself: it goes with the patient, and nothing is lost.
    patient = models.OneToOneField(
        "clinic.Patient", null=True, on_delete=models.CASCADE, related_name="desk_line"
    )
    day = models.DateField(help_text="the local day for which it was worked out")
    section = models.PositiveSmallIntegerField(choices=Section)
    urgency = models.CharField(max_length=1, choices=Urgency)
    ends_on = models.DateField(help_text="the last day of what is shown first")
    comes_on = models.DateField(help_text="the day on which it is to be done: today, or later")
    since = models.DateField(help_text="since when the oldest of it has waited")
    first = models.CharField(max_length=40, help_text="what is shown first: recall:12, duty:3 …")
    what = models.CharField(max_length=24, help_text="its purpose, or its kind of duty")
    duties = models.PositiveSmallIntegerField()
    tried = models.PositiveSmallIntegerField(default=0)
    part = models.CharField(max_length=3, choices=PartOfDay, default=PartOfDay.ANY)
    language = models.CharField(max_length=40, blank=True)
    clinician = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["section", "urgency", "part", "ends_on", "pk"]
        indexes = [
            models.Index(fields=["section", "urgency", "part", "ends_on", "id"], name="morning_in_order"),
            models.Index(fields=["section", "urgency", "-part", "ends_on", "id"], name="afternoon_in_order"),
            models.Index(fields=["section", "comes_on", "id"], name="later_in_order"),
            models.Index(fields=["section", "since", "day"], name="sections_of_today"),
            models.Index(fields=["language"], condition=~Q(language=""), name="languages_on_today"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(section__in=Section.values), name="a_person_on_today_stands_in_a_section"
            ),
            models.CheckConstraint(
                condition=Q(part__in=PartOfDay.values), name="a_person_on_today_is_rung_in_a_part_of_the_day"
            ),
            models.UniqueConstraint(
                fields=["first"], condition=Q(patient__isnull=True), name="an_unfiled_call_is_once_on_today"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_section_display()}: {self.first}"


class Touched(models.Model):
    """Somebody whose line is to be worked out anew: written with the audit record of whatever changed."""

    patient = models.ForeignKey("clinic.Patient", null=True, on_delete=models.CASCADE, related_name="+")

    def __str__(self) -> str:
        return f"touched: {self.patient_id}"


class Claim(Stated):
    """Who works on a patient. Claimed by a guarded update: the row count is the lock."""

    patient = models.OneToOneField("clinic.Patient", on_delete=models.PROTECT, related_name="claim")
    by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    since = models.DateTimeField(null=True)
    touched_at = models.DateTimeField(null=True, help_text="when the holder last did something")
    word = models.CharField(max_length=200, blank=True, help_text="why it was taken over")

    class Meta:
        verbose_name = _("claim")
        constraints = [
            models.CheckConstraint(
                condition=Q(by__isnull=True) | Q(since__isnull=False, touched_at__isnull=False),
                name="a_claim_says_since_when",
            )
        ]

    def __str__(self) -> str:
        return f"claim of patient {self.patient_id}"


class Call(Stated):
    """One call or letter to a person: begun when it is dialled, and work until somebody says what came of it."""

    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="calls")
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()
    route = models.CharField(max_length=8, choices=RouteKind)
    address = models.CharField(max_length=200)
    outcome = models.CharField(max_length=18, choices=Outcome, blank=True)
    ended_at = models.DateTimeField(null=True)
    spoke_to = models.CharField(max_length=120, blank=True)
    carer = models.ForeignKey(
        "clinic.Carer",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="who was told: somebody who on that day might be",
    )
    why_told = models.CharField(max_length=200, blank=True, help_text="why somebody else might be told")
    identity = models.CharField(max_length=60, blank=True, help_text="how it was checked who spoke")
    appointment = models.ForeignKey(
        "scheduling.Appointment", null=True, on_delete=models.PROTECT, related_name="+"
    )
    struck_at = models.DateTimeField(null=True, help_text="taken back: it stays readable")

    class Meta:
        ordering = ["begun_at", "pk"]
        verbose_name = _("call")
        indexes = [
            models.Index(fields=["patient"], condition=Q(ended_at__isnull=True), name="calls_without_outcome")
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, outcome="") | Q(ended_at__isnull=False) & ~Q(outcome=""),
                name="an_ended_call_has_an_outcome",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="spoke_authorised") | Q(carer__isnull=False) | ~Q(why_told=""),
                name="whoever_was_told_in_a_call_might_be",
            ),
        ]

    def __str__(self) -> str:
        return f"call of {self.begun_at:%Y-%m-%d %H:%M}"
