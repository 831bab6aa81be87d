"""Choose the outline a picture is measured by: the automatic one is kept, a person's stands beside it and counts."""

import hashlib
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from clinic import clock, jobs
from clinic.access import Act, require
from clinic.models import Member, change
from clinic.trail import audit
from lesions.analysis.version import VERSION
from lesions.models import Assessment, Image, ImageKind, JobState, ScaleOrigin
from lesions.pictures import polygons
from lesions.pictures.polygons import BadOutline, Point
from lesions.pictures.wording import Refused

AUTOMATIC = "automatic"


class OutlineRefused(Refused):
    """Raised where an outline is not taken."""


@transaction.atomic
def draw(*, image: Image, by: Member, points: Sequence[Sequence[float]], revision: int) -> Assessment:
    """Draw an outline by hand: queue a measurement by this ring, in pixels of the full upright picture.

    Raises OutlineRefused, or StaleRow where somebody else drew or scaled it meanwhile.
    """
    require(by, Act.ADD_PICTURES)
    if image.kind == ImageKind.OVERVIEW:
        raise OutlineRefused("overview_has_no_border")
    try:
        ring = polygons.checked(points, image.width, image.height)
    except BadOutline as error:
        raise OutlineRefused(error.code, **error.params) from error
    known = in_use(image.assessments.filter(version=VERSION, drawn_by__isnull=False))
    if known and known.outline_key == key_of(image, ring):
        return known  # the button was pressed twice
    change(image, seen=revision, at=clock.now())
    row = ask(image=image, ring=ring, drawn_by=by)
    details = {"key": row.outline_key, "points": len(ring)}
    audit.record("outline.draw", by=by, subject=row, patient=image.lesion.patient, **details)
    return row


def ask(
    *,
    image: Image,
    ring: Sequence[Point] | None = None,
    drawn_by: Member | None = None,
    ringing: bool = True,
) -> Assessment:
    """Ask for a measurement: add the row that is the job; the caller's transaction also writes the audit record."""
    now = clock.now()
    outline = {"points": [list(point) for point in ring], "drawn_by": "person"} if ring else None
    try:
        # A savepoint: on PostgreSQL a refused row would otherwise spoil the caller's whole transaction.
        with transaction.atomic():
            row = Assessment.objects.create(
                image=image,
                version=VERSION,
                outline_key=key_of(image, ring),
                outline=outline,
                drawn_by=drawn_by,
                queued_at=now,
                changed_at=now,
            )
    except IntegrityError as error:
        raise OutlineRefused("measured_before") from error
    if ringing:
        jobs.request_work("assess", row.pk)
    return row


def queued_anew(now: datetime) -> dict[str, Any]:
    """What makes a finished assessment a job again."""
    fresh = {"attempts": 0, "failure": "", "failure_params": {}, "finished_at": None}
    return fresh | {"state": JobState.QUEUED, "queued_at": now}


def key_of(image: Image, ring: Sequence[Point] | None) -> str:
    """Give the key of what a measurement rests on: the outline and, where it was set by hand later, the scale."""
    key = hashlib.sha256(json.dumps(ring).encode()).hexdigest() if ring else AUTOMATIC
    return f"{key}@{image.mm_per_px:.6g}" if image.scale_origin == ScaleOrigin.HAND else key


def in_use(rows: Iterable[Assessment]) -> Assessment | None:
    """Find the assessment of a picture that counts: a person's last outline, else the last automatic one."""
    # A person's outline counts even if the program measured later: it was drawn because the other was wrong.
    return max(rows, key=_weight, default=None)


def _weight(row: Assessment) -> tuple[bool, int]:
    return row.drawn_by_id is not None, row.pk


def measured(image: Image) -> Assessment | None:
    """Find the assessment that a picture's figures come from."""
    done = image.assessments.filter(state=JobState.DONE).select_related("drawn_by")
    return of_last_version(list(done.order_by("pk")))


def of_last_version(done: Sequence[Assessment]) -> Assessment | None:
    """The one that counts among those that the version measured which measured last; in the order of their rows."""
    return in_use(row for row in done if row.version == done[-1].version)


def ring_of(assessment: Assessment | None) -> list[Point]:
    """Give the measured ring of an assessment; empty where none was found."""
    result: dict[str, Any] = (assessment.result if assessment else None) or {}
    outline = result.get("outline") or {"points": []}
    return [(x, y) for x, y in outline["points"]]
