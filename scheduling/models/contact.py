from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly
from clinic.models.patient import RouteKind


class Outcome(models.TextChoices):
    """What came of an attempt to reach somebody."""

    SPOKE = "spoke", _("spoke to the patient")
    SPOKE_AUTHORISED = "spoke_authorised", _("spoke to an authorised person")
    VOICEMAIL = "voicemail", _("voicemail left")
    NO_ANSWER = "no_answer", _("no answer")
    SENT = "sent", _("letter or message sent")
    DEAD = "dead", _("number or address is dead")
    RETURNED = "returned", _("letter or message came back")
    ASKS_LATER = "asks_later", _("asks to be called later")
    DECLINED = "declined", _("declined")
    BOOKED = "booked", _("booked")


# Nobody can have been reached by it: it uses up no step of the ladder
# (docs/domain.md, "Recalls do not close themselves").
DOES_NOT_COUNT = ("dead", "returned")


class ContactAttempt(AppendOnly):
    """An attempt to reach a patient, only added. It counts only if it could have reached the patient."""

    recall = models.ForeignKey("scheduling.Recall", on_delete=models.PROTECT, related_name="attempts")
    call = models.ForeignKey("scheduling.Call", null=True, on_delete=models.PROTECT, related_name="attempts")
    at = models.DateTimeField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    route = models.CharField(max_length=8, choices=RouteKind)
    # Copied, because the route may be corrected later and it must stay readable what was dialled.
    address = models.CharField("number or address used", max_length=200)
    outcome = models.CharField(max_length=18, choices=Outcome)
    # Worked out when it was logged: a rule of counting that changes later must not undo a decision it led to.
    counts = models.BooleanField()
    told = models.TextField("what the patient was told about why", blank=True)
    next_action = models.CharField(max_length=120, blank=True)
    next_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["at"], name="attempts_of_a_day")]
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=Outcome.values), name="a_contact_attempt_has_an_outcome"
            ),
            models.CheckConstraint(
                condition=~Q(outcome__in=DOES_NOT_COUNT) | Q(counts=False), name="a_dead_route_does_not_count"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_outcome_display()} at {self.at:%Y-%m-%d %H:%M}"


class StruckAttempt(AppendOnly):
    """An attempt that was entered in error stays readable, struck through: it counts and ends nothing."""

    attempt = models.OneToOneField(ContactAttempt, on_delete=models.PROTECT, related_name="struck")
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.attempt} was struck through"


class UnfiledCall(AppendOnly):
    """Somebody rang whom nobody could find: name, number and words as they were said, and the signs in them."""

    name = models.CharField(max_length=120)
    number = models.CharField(max_length=60)
    words = models.TextField("in the caller's words")
    signs = models.JSONField(default=list)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"call of {self.name} at {self.at:%Y-%m-%d %H:%M}"
