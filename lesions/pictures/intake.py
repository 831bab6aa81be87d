"""Accept a picture: check it, keep the original, clean a copy for browsers, ask for its measures."""

import hashlib
import math
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic import clock
from clinic.models import Member, Patient, change
from clinic.people import consent
from clinic.trail import audit
from lesions.analysis.picture import reading_process
from lesions.analysis.picture.allowance import UnreadablePicture
from lesions.analysis.picture.reading import Cleaned, PictureInfo
from lesions.analysis.types import Message
from lesions.models import (
    Assessment,
    Delivery,
    Image,
    ImageKind,
    Lesion,
    LesionState,
    RefusedUpload,
    ScaleOrigin,
)
from lesions.pictures import allowance, outlines, storage
from lesions.pictures.wording import Refused

# Where nobody stated how sure a scale is; common practice, no source.
USUAL_SCALE_UNCERTAINTY = 0.02
_LEAST_MM_PER_PX, _MOST_MM_PER_PX = 0.0005, 1.0


class PictureRefused(Refused):
    """Raised where a file cannot be taken."""


class AlreadyFiled(PictureRefused):
    """Raised where a picture is already where it belongs: nothing is left to do."""


@dataclass(frozen=True)
class _Scale:
    mm_per_px: float | None = None
    scale_origin: str | None = None
    scale_uncertainty: float | None = None


def accept(
    *,
    lesion: Lesion,
    by: Member,
    data: bytes,
    filename: str,
    taken_on: date,
    kind: str = ImageKind.DERMOSCOPIC,
    mm_per_px: float | None = None,
    scale_origin: str | None = None,
    scale_uncertainty: float | None = None,
) -> Image:
    """File a picture and queue its measuring; raises PictureRefused."""
    # From cheap to dear: what a look at the form can refuse must not cost a decoded picture.
    scale = check_scale(mm_per_px, scale_origin, scale_uncertainty)
    check_size(len(data))
    check_place(lesion, kind, taken_on)
    # Here alone: a picture that is on record already must be movable to the record where it belongs.
    if consent.refused_on(lesion.patient, taken_on):
        raise PictureRefused("does_not_agree")
    cleaned = _cleaned(data)
    info = cleaned.info
    _check_new(lesion, hashlib.sha256(data).hexdigest())
    # Both files are on the disk before the row that names them.
    sha, derivative = storage.put(data), storage.put(cleaned.jpeg)
    picture = Image(
        lesion=lesion,
        kind=kind,
        sha256=sha,
        derivative_sha256=derivative,
        format=info.format,
        width=info.width,
        height=info.height,
        bytes=len(data),
        filename=tidy_name(filename),
        taken_on=taken_on,
        uploaded_at=clock.now(),
        uploaded_by=by,
        changed_at=clock.now(),
        camera_day=_other_day(info, taken_on),
        **vars(scale),
    )
    try:
        return _file(picture, by)
    except IntegrityError:  # somebody filed the same bytes between the check and here
        _check_new(lesion, sha)
        raise


@transaction.atomic
def _file(picture: Image, by: Member) -> Image:
    patient = picture.lesion.patient
    picture.save(force_insert=True)
    other_day = picture.camera_day and picture.camera_day.isoformat()
    details = {"sha256": picture.sha256, "camera_day": other_day}
    audit.record("image.add", by=by, subject=picture, patient=patient, **details)
    if picture.kind != ImageKind.OVERVIEW:  # an overview shows where, there is no border to find in it
        queue(picture=picture, by=by)
    return picture


def queue(*, picture: Image, by: Member | None) -> Assessment:
    """Queue the measuring of a picture: add the row that is the job, in the caller's transaction."""
    row = outlines.ask(image=picture)
    audit.record("assessment.queue", by=by, subject=row, patient=picture.lesion.patient, version=row.version)
    return row


@transaction.atomic
def refuse(*, lesion: Lesion, by: Member, filename: str, why: Message) -> RefusedUpload:
    """Keep a refused file as work until somebody has dealt with it; tried twice, it is still one."""
    now = clock.now()
    same = {"filename": tidy_name(filename), "code": why.code, "params": why.params}
    known = lesion.refused_uploads.filter(**same, settled_at__isnull=True).first()
    if known:
        return known
    row = RefusedUpload.objects.create(lesion=lesion, **same, at=now, by=by, changed_at=now)
    details = {"filename": row.filename, "code": why.code, **why.params}
    audit.record("image.refuse", by=by, subject=row, patient=lesion.patient, **details)
    return row


@transaction.atomic
def settle(*, refused: RefusedUpload, by: Member, revision: int) -> RefusedUpload:
    """Settle a refused file. Raises StaleRow when somebody else settled it first."""
    now = clock.now()
    change(refused, seen=revision, at=now, where={"settled_at": None}, settled_at=now, settled_by=by)
    audit.record("image.settle", by=by, subject=refused, patient=refused.lesion.patient)
    return refused


def deliver(*, image: Image, to: Member) -> None:
    """Note that this picture's bytes go to this member: a signature asks for it."""
    # The last time is kept: a signature needs a delivery since its review was opened.
    Delivery.objects.update_or_create(image=image, member=to, defaults={"at": clock.now()})


def tidy_name(filename: str) -> str:
    """Keep the last part of a file's name, without control characters; a name is shown and never trusted."""
    last = filename.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(letter for letter in last if letter.isprintable())[:200] or "unnamed file"


def check_size(count: int) -> None:
    """Refuse an empty file and one above the limit of size (PictureRefused)."""
    if not count:
        raise PictureRefused("empty")
    if count > settings.PICTURE_MAX_BYTES:
        most = settings.PICTURE_MAX_BYTES // (1024 * 1024)
        raise PictureRefused("too_large", megabytes=f"{count / 1024 / 1024:.1f}", most=most)


def check_place(lesion: Lesion, kind: str, taken_on: date) -> None:
    if kind not in ImageKind.values:
        raise PictureRefused("unknown_kind")
    if lesion.state == LesionState.ERROR:
        raise PictureRefused("entered_in_error")
    if taken_on > clock.today():
        raise PictureRefused("after_today")
    if taken_on < lesion.patient.born:
        raise PictureRefused("before_birth")
    _check_life(lesion.patient, taken_on)


def _check_life(patient: Patient, taken_on: date) -> None:
    if patient.died_on and taken_on > patient.died_on:
        raise PictureRefused("after_death")


def check_scale(mm_per_px: float | None, origin: str | None, uncertainty: float | None) -> _Scale:
    if mm_per_px is None:
        return _Scale()
    if origin not in ScaleOrigin.values:
        raise PictureRefused("scale_without_origin")
    if not (math.isfinite(mm_per_px) and _LEAST_MM_PER_PX <= mm_per_px <= _MOST_MM_PER_PX):
        raise PictureRefused("scale_out_of_range", least=_LEAST_MM_PER_PX, most=f"{_MOST_MM_PER_PX:g}")
    unsure = USUAL_SCALE_UNCERTAINTY if uncertainty is None else uncertainty
    if not 0 <= unsure <= 0.5:
        raise PictureRefused("scale_unsure")
    return _Scale(mm_per_px, origin, unsure)


def _cleaned(data: bytes) -> Cleaned:
    """Make the clean copy, in a process of its own: a hostile file then cannot harm this one."""
    try:
        return reading_process.clean(data, allowance=allowance.from_settings())
    except UnreadablePicture as error:
        raise PictureRefused(error.message.code, **error.message.params) from error


def _check_new(lesion: Lesion, sha: str) -> None:
    """Refuse a file that is on record already; of another patient nothing more is said than that it is known."""
    known = Image.objects.filter(sha256=sha).select_related("lesion").first()
    if known is None:
        return
    # The same file chosen twice is no mistake that anybody has to deal with.
    if known.lesion_id == lesion.pk:
        raise AlreadyFiled("filed_here")
    if known.lesion.patient_id == lesion.patient_id:
        raise PictureRefused("filed_with_other_lesion", lesion=known.lesion.label)
    raise PictureRefused("filed_elsewhere")


def _other_day(info: PictureInfo, taken_on: date) -> date | None:
    """Give the day that the camera wrote into the file, where it is another than the one stated."""
    if info.taken_at is None:
        return None
    aware = timezone.is_aware(info.taken_at)
    camera_day = timezone.localdate(info.taken_at) if aware else info.taken_at.date()
    # Said, not believed: many cameras' clocks are wrong, and the visit's day counts.
    return None if camera_day == taken_on else camera_day
