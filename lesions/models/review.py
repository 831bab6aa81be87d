from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly, Stated


class ReviewState(models.TextChoices):
    """Whether a lesion waits for a decision, and how else its waiting ended."""

    WAITING = "waiting", _("waits for a decision")
    SIGNED = "signed", _("signed")
    SUPERSEDED = "superseded", _("replaced by a later picture")
    HANDED_OVER = "handed_over", _("handed over, care has ended")
    TAKEN_BACK = "taken_back", _("signed, and the signature taken back")


class Review(Stated):
    """A lesion that waits for a dermatologist's decision.

    `flagged` is true when a limit was passed or when the picture could not be judged by its numbers
    (failed, doubtful, inadequate, unaligned, unmeasured, nothing to compare with at this version).
    """

    lesion = models.ForeignKey("lesions.Lesion", on_delete=models.PROTECT, related_name="reviews")
    assessment = models.ForeignKey("lesions.Assessment", on_delete=models.PROTECT, related_name="reviews")
    comparison = models.ForeignKey(
        "lesions.Comparison", null=True, on_delete=models.PROTECT, related_name="reviews"
    )
    flagged = models.BooleanField()
    urgent = models.BooleanField(default=False)
    # Drawn when it opens and kept: a lot drawn at each look could be drawn again until it suits.
    look_first = models.BooleanField(
        default=False,
        help_text="drawn by lot: figures and reasons stay hidden until a first impression is keyed",
    )
    mixed_rank = models.PositiveSmallIntegerField(
        null=True,
        help_text="an unflagged lesion mixed in among the flagged stands at this rank, drawn by lot",
    )
    asked_by = models.ForeignKey(
        "clinic.Member",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="whoever asked for a second reading, or signed what somebody dissents from: another reads it",
    )
    dissented_by = models.ForeignKey(
        "clinic.Member",
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="a third reads it then",
    )
    state = models.CharField(max_length=12, choices=ReviewState, default=ReviewState.WAITING)
    opened_at = models.DateTimeField()

    class Meta:
        verbose_name = _("review")
        ordering = ["-urgent", "opened_at", "pk"]
        # Whole, and not only of those that wait: SQLite uses no part of an index for a value that it is given apart.
        indexes = [models.Index(fields=["state", "flagged", "mixed_rank"], name="reviews_that_wait")]
        constraints = [
            models.UniqueConstraint(
                fields=["lesion"], condition=Q(state="waiting"), name="a_lesion_waits_for_one_decision"
            ),
            models.CheckConstraint(
                condition=Q(state__in=ReviewState.values), name="a_review_has_a_known_state"
            ),
        ]

    def __str__(self) -> str:
        return f"review {self.pk}"


class Decision(models.TextChoices):
    """From the most cautious down, as every page lists them; reassure stands last."""

    EXCISE = "excise", _("Excise")
    BIOPSY = "biopsy", _("Biopsy")
    REFER = "refer", _("Refer")
    SECOND_READING = "second_reading", _("Second reading")
    INADEQUATE = "inadequate", _("Picture inadequate, repeat it")
    WRONG_SUBJECT = "wrong_subject", _("Wrong lesion or patient")
    ALREADY_REMOVED = "already_removed", _("Already removed")
    LOOK_AGAIN = "look_again", _("Look again in some months")
    REASSURE = "reassure", _("Reassure and continue")


class Impression(models.TextChoices):
    """What somebody would do at first sight, keyed before figures and reasons are shown. It decides nothing."""

    ACT = "act", _("I would do something now")
    WATCH = "watch", _("I would look again")
    LEAVE = "leave", _("I would leave it")


class Look(AppendOnly):
    """Both pictures stood decoded and visible before this member, as the current item; a preload writes none."""

    review = models.ForeignKey(Review, on_delete=models.PROTECT, related_name="looks")
    comparison = models.ForeignKey(
        "lesions.Comparison", null=True, on_delete=models.PROTECT, related_name="looks"
    )
    member = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    # By content and not by key: the proof holds even if the row is moved to another lesion.
    images = models.JSONField(help_text="SHA-256 of each picture, the earlier first")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["review", "member"])]

    def __str__(self) -> str:
        return f"{self.member} looked at {self.review}"


class Draft(models.Model):
    """What somebody has begun to decide: it survives a reload, signing out and a lost network, and goes when signed."""

    # May go with its review and its writer: unsigned thoughts are no record.
    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="drafts")
    member = models.ForeignKey("clinic.Member", on_delete=models.CASCADE, related_name="+")
    said = models.JSONField(
        default=dict, help_text="decision, months, note, in_person, as far as they are said"
    )
    impression = models.CharField(max_length=8, choices=Impression, blank=True)
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["review", "member"], name="everybody_has_one_draft_of_a_decision")
        ]

    def __str__(self) -> str:
        return f"draft of {self.member} about {self.review}"


class SignOff(AppendOnly):
    """A signed decision, never edited: an addendum follows. `seen` holds the SHA-256 of each picture shown."""

    lesion = models.ForeignKey("lesions.Lesion", on_delete=models.PROTECT, related_name="signoffs")
    review = models.OneToOneField(Review, null=True, on_delete=models.PROTECT, related_name="signoff")
    decision = models.CharField(max_length=16, choices=Decision)
    months = models.PositiveSmallIntegerField(null=True)
    note = models.TextField(blank=True)
    in_person = models.BooleanField(default=False)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()
    # The clinic's own day beside the moment: a signature at midnight counts on the day on which it was given.
    signed_on = models.DateField()
    seen = models.JSONField(default=list)
    comparison = models.ForeignKey(
        "lesions.Comparison", null=True, on_delete=models.PROTECT, related_name="+"
    )
    tools = models.JSONField(
        default=list, help_text="what was opened beside the pictures: overlay, history, …"
    )
    seconds = models.PositiveIntegerField(null=True, help_text="from the look to the signature")
    impression = models.CharField(max_length=8, choices=Impression, blank=True)
    version = models.CharField(max_length=20, blank=True)
    before = models.JSONField(
        default=dict, help_text="what stood on the lesion: it stands again if this is taken back"
    )

    class Meta:
        ordering = ["-signed_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(decision__in=Decision.values), name="a_sign_off_has_a_known_decision"
            ),
            models.CheckConstraint(
                condition=Q(decision="look_again", months__gte=1, months__lte=24)
                | (~Q(decision="look_again") & Q(months__isnull=True)),
                name="look_again_says_in_how_many_months",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_decision_display()} on {self.signed_on}"


class RevokedSignOff(AppendOnly):
    """A signature that its signer took back within minutes: it stays readable, struck through, and decides nothing."""

    signoff = models.OneToOneField(SignOff, on_delete=models.PROTECT, related_name="revoked")
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.signoff} was taken back"


class Addendum(AppendOnly):
    """What was added below a signed decision, which itself never changes."""

    signoff = models.ForeignKey(SignOff, on_delete=models.PROTECT, related_name="addenda")
    text = models.TextField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.text


class Dissent(AppendOnly):
    """Another decision about the same lesion, given after somebody had signed first; a third reader is asked by it."""

    signoff = models.ForeignKey(SignOff, on_delete=models.PROTECT, related_name="dissents")
    decision = models.CharField(max_length=16, choices=Decision)
    months = models.PositiveSmallIntegerField(null=True)
    note = models.TextField(blank=True)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    stands = models.ForeignKey(
        SignOff,
        null=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="the stricter decision that was done where nobody else could read it",
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["signoff", "by"], name="somebody_dissents_once_from_a_decision"),
            models.CheckConstraint(
                condition=Q(decision__in=Decision.values), name="a_dissent_has_a_known_decision"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.by} dissents: {self.get_decision_display()}"


class OutsideReading(AppendOnly):
    """Somebody outside, named and without an account, who is asked about a lesion that waits. It signs nothing."""

    review = models.ForeignKey(Review, on_delete=models.PROTECT, related_name="outside_readings")
    # Beside the review: a newer picture opens another one, and the question goes with the lesion.
    lesion = models.ForeignKey("lesions.Lesion", on_delete=models.PROTECT, related_name="outside_readings")
    reader = models.CharField(max_length=120)
    place = models.CharField(max_length=160)
    question = models.TextField(blank=True)
    asked_by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["lesion"])]

    def __str__(self) -> str:
        return f"{self.reader} about {self.lesion}"


class OutsideAnswer(AppendOnly):
    """What an outside reader said, on which day, and who entered it here; several answers stand one below the other."""

    reading = models.ForeignKey(OutsideReading, on_delete=models.PROTECT, related_name="answers")
    said_on = models.DateField()
    words = models.TextField()
    entered_by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.words
