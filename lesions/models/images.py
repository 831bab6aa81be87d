from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly, Stated


class ImageKind(models.TextChoices):
    """How a photograph was taken; only a dermoscopic one is compared with the other lesions."""

    DERMOSCOPIC = "dermoscopic", _("dermoscopic")
    CLOSE_UP = "close_up", _("close-up")
    OVERVIEW = "overview", _("overview")


class ScaleOrigin(models.TextChoices):
    """Where the millimetres of a picture come from: without an origin there is no scale."""

    DEVICE = "device", _("calibration of the device")
    RULER = "ruler", _("ruler in the picture")
    HAND = "hand", _("two points by hand")
    GIVEN = "given", _("entered by staff")


class Image(Stated):
    """A photograph: its original bytes are kept under their SHA-256; browsers only get the cleaned copy.

    `sha256` names the file in lesions/pictures/storage.py. Width and height are those after EXIF orientation.
    """

    lesion = models.ForeignKey("lesions.Lesion", on_delete=models.PROTECT, related_name="images")
    kind = models.CharField(max_length=12, choices=ImageKind, default=ImageKind.DERMOSCOPIC)
    # The file's name on disk and its proof: a signature names what was seen by it.
    sha256 = models.CharField(max_length=64)
    # A copy without the place and the device that a camera writes into its files.
    derivative_sha256 = models.CharField(max_length=64)
    format = models.CharField(max_length=8)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    bytes = models.PositiveBigIntegerField()
    filename = models.CharField(max_length=200)
    taken_on = models.DateField()
    uploaded_at = models.DateTimeField()
    uploaded_by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    # Null is no scale at all, and never 1: no millimetres may come from such a picture.
    mm_per_px = models.FloatField(null=True, blank=True)
    scale_origin = models.CharField(max_length=8, choices=ScaleOrigin, null=True, blank=True)  # noqa: DJ001 null = no scale
    scale_uncertainty = models.FloatField(null=True, blank=True, help_text="relative, 0.02 = 2 %")
    camera_day = models.DateField(
        null=True,
        blank=True,
        help_text="what the camera wrote into the file, where it is another day than stated",
    )
    set_aside = models.BooleanField(
        default=False,
        help_text="shows no lesion of this patient; still readable, counts and is compared no more",
    )

    class Meta:
        verbose_name = _("picture")
        ordering = ["taken_on", "pk"]
        constraints = [
            # Over the whole clinic: the same photograph under two patients means that one of them is wrong.
            models.UniqueConstraint(fields=["sha256"], name="a_picture_is_filed_once"),
            models.CheckConstraint(
                condition=Q(mm_per_px__isnull=True, scale_origin__isnull=True)
                | Q(mm_per_px__gt=0, scale_origin__isnull=False),
                name="a_scale_has_an_origin",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} picture of {self.taken_on}"


class PictureMove(AppendOnly):
    """A picture filed under a wrong lesion was moved to its own, or set aside with a reason where nobody knows it."""

    image = models.ForeignKey(Image, on_delete=models.PROTECT, related_name="moves")
    from_lesion = models.ForeignKey("lesions.Lesion", on_delete=models.PROTECT, related_name="moved_away")
    to_lesion = models.ForeignKey(
        "lesions.Lesion", null=True, on_delete=models.PROTECT, related_name="moved_here"
    )
    reason = models.TextField(blank=True)
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(to_lesion__isnull=True) | ~Q(to_lesion=models.F("from_lesion")),
                name="a_picture_is_moved_to_another_lesion",
            ),
            models.CheckConstraint(
                condition=Q(to_lesion__isnull=False) | ~Q(reason=""),
                name="a_picture_is_set_aside_with_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"picture {self.image_id} was moved"


class RefusedUpload(Stated):
    """A file that could not be taken: work until somebody has dealt with it (a new picture, or a reason)."""

    lesion = models.ForeignKey("lesions.Lesion", on_delete=models.PROTECT, related_name="refused_uploads")
    filename = models.CharField(max_length=200)
    code = models.CharField(max_length=40)
    params = models.JSONField(default=dict)
    at = models.DateTimeField()
    by = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        "clinic.Member", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name = _("refused file")
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.filename}: {self.code}"


class Delivery(models.Model):
    """A record that this member was sent a picture's bytes: a signature needs it."""

    image = models.ForeignKey(Image, on_delete=models.PROTECT, related_name="deliveries")
    member = models.ForeignKey("clinic.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            # One row for both, because only the last one is asked for and pictures are opened many times.
            models.UniqueConstraint(fields=["image", "member"], name="the_last_delivery_of_a_picture_counts")
        ]

    def __str__(self) -> str:
        return f"{self.image_id} to {self.member_id}"
