from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly, Stated


class EndGround(models.TextChoices):
    """Why a duty ends without its proper end: a dermatologist's word, never a nurse's alone."""

    DECLINED = "declined", _("declined after being informed")
    TRANSFERRED = "transferred", _("transferred and accepted elsewhere")
    MOVED = "moved", _("moved away, letter sent")
    DECEASED = "deceased", _("deceased")
    DISCHARGE = "discharge", _("clinician's discharge")
    DECIDED = "decided", _("decided otherwise")
    ERROR = "error", _("entered in error")


class Duty(Stated):
    """Something owed, until a row proves that it was done or a dermatologist ends it with a ground.

    `kind` is a code of clinic/duties/kinds.py. A duty without a patient is a call from somebody nobody could find.
    """

    kind = models.CharField(max_length=20)
    patient = models.ForeignKey("clinic.Patient", null=True, on_delete=models.PROTECT, related_name="duties")
    subject = models.CharField(max_length=40, default="patient", help_text="what it is about, e.g. lesion:12")
    opened_from = models.CharField(max_length=60, help_text="the row that opened it: model label and key")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    urgent = models.BooleanField(default=False)
    due_on = models.DateField()
    owner = models.ForeignKey(
        "clinic.Member",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="who was named for it; empty: whoever works on its list",
    )
    note = models.TextField(blank=True)
    because = models.JSONField(
        default=dict, blank=True, help_text="what the program says of it: a code and its parameters"
    )
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    evidence = models.CharField(max_length=60, blank=True, help_text="the row that ended it")
    ground = models.CharField(max_length=12, choices=EndGround, blank=True)
    end_note = models.TextField(blank=True)
    second = models.ForeignKey(
        "clinic.Member",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="who proposed it, where another confirmed",
    )

    class Meta:
        ordering = ["-urgent", "due_on", "pk"]
        verbose_name = _("duty")
        verbose_name_plural = _("duties")
        indexes = [
            models.Index(fields=["kind", "ended_at"], name="duties_of_a_kind"),
            # What is owed is counted after each act, and beside all that was ever owed it is little.
            models.Index(fields=["ended_at", "kind"], name="duties_still_owed"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "opened_from"],
                condition=Q(ended_at__isnull=True),
                name="a_duty_is_open_once_from_one_row",
            ),
            models.CheckConstraint(
                # Open; done, as a row proves; or ended by somebody with a ground and words. There is no fourth way
                # out.
                condition=Q(ended_at__isnull=True, ended_by__isnull=True, evidence="", ground="")
                | Q(ended_at__isnull=False) & ~Q(evidence="")
                | Q(ended_at__isnull=False, ended_by__isnull=False) & ~Q(ground="") & ~Q(end_note=""),
                name="an_ended_duty_has_its_evidence_or_a_ground",
            ),
        ]

    def __str__(self) -> str:
        return f"duty {self.pk}"


class Proposal(Stated):
    """What one member may only propose and another confirms: it stands in Decisions until somebody has answered."""

    act = models.CharField(max_length=20, help_text="a code of clinic/duties/proposals.py")
    patient = models.ForeignKey("clinic.Patient", on_delete=models.PROTECT, related_name="proposals")
    subject = models.CharField(max_length=60, help_text="model label and key")
    fields = models.JSONField(default=dict)
    reason = models.TextField()
    urgent = models.BooleanField(default=False)
    proposed_by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="proposals")
    proposed_at = models.DateTimeField()
    due_on = models.DateField()
    answered_by = models.ForeignKey("clinic.Member", null=True, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(null=True)
    confirmed = models.BooleanField(null=True)
    # In words; where the program answered, a code of clinic/duties/wording.py.
    answer = models.TextField(blank=True)
    seen_at = models.DateTimeField(null=True, help_text="when the proposer read the answer")

    class Meta:
        ordering = ["-urgent", "due_on", "pk"]
        verbose_name = _("proposal")
        constraints = [
            models.UniqueConstraint(
                fields=["act", "subject"],
                condition=Q(answered_at__isnull=True),
                name="one_proposal_about_a_thing_waits",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="a_proposal_has_a_reason"),
            models.CheckConstraint(
                condition=Q(answered_at__isnull=True, answered_by__isnull=True, confirmed__isnull=True)
                | Q(answered_at__isnull=False, confirmed__isnull=False)
                # What became pointless meanwhile is refused by the program itself; it never confirms anything.
                & (Q(answered_by__isnull=False) | Q(confirmed=False)),
                name="a_confirmed_proposal_says_by_whom",
            ),
            models.CheckConstraint(
                condition=Q(confirmed__isnull=True) | ~Q(answered_by=F("proposed_by")),
                name="a_proposal_is_answered_by_another",
            ),
            models.CheckConstraint(
                condition=~Q(confirmed=False) | ~Q(answer=""), name="a_refusal_has_a_word"
            ),
        ]

    def __str__(self) -> str:
        return f"proposal {self.pk}"


class How(models.TextChoices):
    IN_PERSON = "in_person", _("in person")
    PHONE = "phone", _("by telephone")
    LETTER = "letter", _("by letter")
    ELECTRONIC = "electronic", _("electronically")


class ToldTo(models.TextChoices):
    PATIENT = "patient", _("the patient")
    CARER = "carer", _("somebody who may be told today")
    OTHER = "other", _("somebody else, by name and with a word why")


class Step(AppendOnly):
    """One step of a duty as somebody recorded it, such as sent to whom, or told how: the evidence of its end."""

    duty = models.ForeignKey(Duty, on_delete=models.PROTECT, related_name="steps")
    outcome = models.CharField(max_length=16, help_text="a code of clinic/duties/outcomes.py")
    on = models.DateField()
    whom = models.CharField(max_length=120, blank=True)
    told_to = models.CharField(
        max_length=8,
        choices=ToldTo,
        blank=True,
        help_text="who was told a result; `whom` names somebody else",
    )
    carer = models.ForeignKey(
        "clinic.Carer",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="who was told: somebody who on that day might be",
    )
    why_told = models.CharField(max_length=200, blank=True, help_text="why somebody else might be told")
    how = models.CharField(max_length=12, choices=How, blank=True)
    words = models.TextField(blank=True)
    until = models.DateField(
        null=True, blank=True, help_text="the day of what follows, where the entry says one"
    )
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(told_to="", carer__isnull=True, why_told="")
                | Q(told_to="patient", carer__isnull=True, whom="")
                | Q(told_to="carer", carer__isnull=False, whom="")
                | Q(told_to="other", carer__isnull=True) & ~Q(whom="") & ~Q(why_told=""),
                name="whoever_was_told_a_result_might_be",
            ),
            models.CheckConstraint(
                condition=~Q(outcome="told") | ~Q(told_to=""), name="a_told_result_says_to_whom"
            ),
        ]

    def __str__(self) -> str:
        return f"step {self.pk}"


class StruckStep(AppendOnly):
    """What was recorded in error stays readable, struck through: it ends nothing any more."""

    step = models.OneToOneField(Step, on_delete=models.PROTECT, related_name="struck")
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.step} was struck through"
