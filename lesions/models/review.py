from django.db import models
from django.db.models import Q

from clinic.models.base import AppendOnly, Stated


class ReviewState(models.TextChoices):
    WAITING = "waiting", "waits for a decision"
    SIGNED = "signed", "signed"
    SUPERSEDED = "superseded", "replaced by a later picture"
    HANDED_OVER = "handed_over", "handed over, care has ended"
    TAKEN_BACK = "taken_back", "signed, and the signature taken back"


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
    state = models.CharField(max_length=12, choices=ReviewState, default=ReviewState.WAITING)
    opened_at = models.DateTimeField()

    class Meta:
        ordering = ["-urgent", "opened_at", "pk"]
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
    REASSURE = "reassure", "Reassure and continue"
    LOOK_AGAIN = "look_again", "Look again in some months"
    BIOPSY = "biopsy", "Biopsy"
    EXCISE = "excise", "Excise"
    REFER = "refer", "Refer"
    SECOND_READING = "second_reading", "Second reading"
    INADEQUATE = "inadequate", "Picture inadequate, repeat it"
    WRONG_SUBJECT = "wrong_subject", "Wrong lesion or patient"
    ALREADY_REMOVED = "already_removed", "Already removed"


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
    signed_on = models.DateField()
    seen = models.JSONField(default=list)
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
    signoff = models.ForeignKey(SignOff, on_delete=models.PROTECT, related_name="addenda")
    text = models.TextField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.text
