"""Set the scale of a picture from two points that a person set, such as two marks of a ruler beside the lesion."""

import math
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, change
from clinic.trail import audit
from lesions.models import Assessment, Image, ImageKind, ScaleOrigin
from lesions.pictures import intake, outlines
from lesions.pictures.intake import PictureRefused
from lesions.pictures.outlines import OutlineRefused
from lesions.pictures.polygons import Point
from lesions.pictures.wording import Refused

POINT_PRECISION = 2.0  # pixels of the picture on the screen; common practice, no source
MOST_UNCERTAIN = 0.10
_SCREEN_SIDE = 1600  # longer side of the copy that browsers get (reading.clean)


class ScaleRefused(Refused):
    """Raised where no scale follows from two points."""


@transaction.atomic
def set_by_hand(
    *, image: Image, by: Member, points: Sequence[Sequence[float]], mm: float, revision: int
) -> Assessment:
    """Set the scale and queue the picture's outline in use to be measured by it.

    Raises ScaleRefused, or StaleRow where somebody else drew or scaled it meanwhile.
    """
    require(by, Act.ADD_PICTURES)
    if image.kind == ImageKind.OVERVIEW:
        raise ScaleRefused("overview_has_no_scale")
    mm_per_px, unsure = _scale(image, points, mm)
    # For the trail, because the picture itself keeps only what stands now.
    before = {"mm_per_px": image.mm_per_px, "origin": image.scale_origin}
    used = outlines.in_use(image.assessments.filter(drawn_by__isnull=False).select_related("drawn_by"))
    scale: dict[str, Any] = {
        "mm_per_px": mm_per_px,
        "scale_origin": ScaleOrigin.HAND,
        "scale_uncertainty": unsure,
    }
    change(image, seen=revision, at=clock.now(), **scale)
    ring = [(x, y) for x, y in used.outline["points"]] if used and used.outline else None
    try:
        row = outlines.ask(image=image, ring=ring, drawn_by=used.drawn_by if used else None)
    except OutlineRefused as error:
        raise ScaleRefused(error.message.code, **error.message.params) from error
    audit.record("image.scale", by=by, subject=image, patient=image.lesion.patient, before=before, **scale)
    return row


def _scale(image: Image, points: Sequence[Sequence[float]], mm: float) -> tuple[float, float]:
    """Work out millimetres per pixel of the full picture, and how unsure they are (relative)."""
    one, two = _ends(image, points)
    if not (math.isfinite(mm) and 0 < mm <= 200):
        raise ScaleRefused("distance_out_of_range")
    apart = math.dist(one, two)
    # A hand sets points on the reduced copy: its two pixels are several of the full picture.
    coarser = max(1.0, max(image.width, image.height) / _SCREEN_SIDE)
    unsure = math.sqrt(2) * POINT_PRECISION * coarser / apart if apart else math.inf
    if unsure > MOST_UNCERTAIN:
        raise ScaleRefused("points_too_close")
    try:
        intake.check_scale(mm / apart, ScaleOrigin.HAND, unsure)
    except PictureRefused as error:
        raise ScaleRefused(error.message.code, **error.message.params) from error
    # Six figures, as in the key of the measurement: the same two points must give the same key.
    return float(f"{mm / apart:.6g}"), float(f"{unsure:.3g}")


def _ends(image: Image, points: Sequence[Sequence[float]]) -> tuple[Point, Point]:
    if len(points) != 2:
        raise ScaleRefused("not_two_points")
    (x, y), (u, v) = points
    if not all(0 <= a <= image.width and 0 <= b <= image.height for a, b in ((x, y), (u, v))):
        raise ScaleRefused("point_outside")
    return (x, y), (u, v)
