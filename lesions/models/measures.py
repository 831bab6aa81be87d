from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import Stated


class JobState(models.TextChoices):
    """How far the measuring of a picture has come."""

    QUEUED = "queued", _("waits to be measured")
    RUNNING = "running", _("being measured")
    DONE = "done", _("measured")
    FAILED = "failed", _("could not be measured")


UNFINISHED = (JobState.QUEUED, JobState.RUNNING)


class Assessment(Stated):
    """One image × one algorithm version × one outline. An unfinished row is the job; the queue only says: look now.

    `result` is the measure object of the image core, its sentences left out.
    """

    image = models.ForeignKey("lesions.Image", on_delete=models.PROTECT, related_name="assessments")
    version = models.CharField(max_length=20)
    outline_key = models.CharField(
        max_length=96,
        default="automatic",
        help_text="or the SHA-256 of a drawn outline; @ a scale set by hand",
    )
    outline = models.JSONField(null=True, blank=True)
    drawn_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    state = models.CharField(max_length=8, choices=JobState, default=JobState.QUEUED)
    # A picture that kills its process would be tried for ever: after a few attempts it fails, and somebody looks at
    # it.
    attempts = models.PositiveSmallIntegerField(default=0)
    # Until then one worker has it; afterwards that worker counts as dead and another begins.
    lease_until = models.DateTimeField(null=True, blank=True)
    queued_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    # Never an error's own words: they may name a path or a patient.
    failure = models.CharField(max_length=40, blank=True, help_text="the code of why it failed")
    failure_params = models.JSONField(default=dict, blank=True)
    result = models.JSONField(null=True, blank=True)

    class Meta:
        verbose_name = _("measuring of a picture")
        ordering = ["pk"]
        indexes = [models.Index(fields=["state", "queued_at"])]
        constraints = [
            models.UniqueConstraint(
                fields=["image", "version", "outline_key"], name="an_outline_is_measured_once_a_version"
            ),
            models.CheckConstraint(
                condition=Q(state__in=JobState.values), name="an_assessment_has_a_known_state"
            ),
            models.CheckConstraint(
                condition=~Q(state="done") | Q(result__isnull=False, finished_at__isnull=False),
                name="a_done_assessment_has_a_result",
            ),
            models.CheckConstraint(
                condition=~Q(state="failed") | ~Q(failure=""), name="a_failed_assessment_says_why"
            ),
        ]

    def __str__(self) -> str:
        return f"assessment {self.pk}"


class Comparison(models.Model):
    """Two assessments of one lesion at the same version; `result` is the core's answer, without sentences."""

    earlier = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="compared_later")
    later = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="compared_earlier")
    made_at = models.DateTimeField()
    aligned = models.BooleanField()
    result = models.JSONField()
    map_sha256 = models.CharField(
        max_length=64, blank=True, help_text="names the drawn change map; empty where the two do not align"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["earlier", "later"], name="two_assessments_are_compared_once"),
            models.CheckConstraint(
                condition=~Q(earlier=models.F("later")), name="a_comparison_has_two_sides"
            ),
        ]

    def __str__(self) -> str:
        return f"comparison {self.pk}"


class Flag(models.Model):
    """A reason to look, with value, limit and where the limit comes from. It orders work; it is no diagnosis."""

    review = models.ForeignKey("lesions.Review", on_delete=models.PROTECT, related_name="flags")
    code = models.CharField(max_length=40)
    params = models.JSONField(default=dict, help_text="what its sentence names; lesions/review/wording.py")
    value = models.FloatField(null=True)
    unit = models.CharField(max_length=16, blank=True)
    uncertainty = models.FloatField(null=True)
    # Kept with value and source as they were: limits change, and what was shown to a signer must stay readable.
    limit = models.FloatField(null=True)
    source = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["review", "code"], name="a_flag_is_raised_once_a_review")
        ]

    def __str__(self) -> str:
        return self.code
