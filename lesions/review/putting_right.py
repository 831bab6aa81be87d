"""Move a picture of another lesion or patient to its own, or set it aside; what rested on it stays and says so."""

from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _

from clinic import clock, jobs
from clinic.access import Act, require
from clinic.duties import ledger
from clinic.duties.ledger import DutyRefused
from clinic.models import Duty, Member, change
from clinic.trail import audit
from lesions.analysis.version import VERSION
from lesions.models import (
    UNFINISHED,
    Assessment,
    Comparison,
    Image,
    ImageKind,
    Lesion,
    PictureMove,
    Review,
    ReviewState,
)
from lesions.pictures import intake, outlines
from lesions.pictures.intake import PictureRefused
from lesions.register import register
from lesions.review import owed, reviews


@transaction.atomic
def move(*, image: Image, lesion: Lesion, by: Member, revision: int) -> Image:
    """File a picture with its right lesion, measured and compared anew there. Raises PictureRefused or StaleRow."""
    require(by, Act.ADD_PICTURES)
    duty, old = _duty_of(image), image.lesion
    if lesion.pk == old.pk:
        raise PictureRefused("filed_there_now")
    if owed.is_called_wrong(image, lesion):
        raise PictureRefused("called_wrong_there")
    # In the order of their keys: two people who move pictures opposite ways would else wait for each other for ever.
    for key in sorted((lesion.pk, old.pk)):
        register.lock(key)
    intake.check_place(lesion, image.kind, image.taken_on)
    change(image, seen=revision, at=clock.now(), lesion=lesion, set_aside=False)
    row = _moved(image, old, lesion, by)
    ways = {"from_lesion": old.pk, "to_lesion": lesion.pk}
    # In the trail of both: whoever looks at either record must find where the picture went or came from.
    for patient in {old.patient_id: old.patient, lesion.patient_id: lesion.patient}.values():
        audit.record("image.move", by=by, subject=image, patient=patient, **ways)
    ledger.end_duty(duty, by=by, evidence=row)
    _compare_anew(old, image, by)
    _measure_anew(image, by)
    return image


@transaction.atomic
def set_aside(*, image: Image, by: Member, revision: int, reason: str) -> Image:
    """Set a picture aside that nobody can place: it stays readable, counts for nothing and is compared with nothing."""
    require(by, Act.SIGN_OFF)
    if not reason.strip():
        raise PictureRefused("no_reason")
    duty, lesion = _duty_of(image), register.lock(image.lesion_id)
    change(image, seen=revision, at=clock.now(), set_aside=True)
    row = _moved(image, lesion, None, by, reason.strip())
    audit.record("image.set_aside", by=by, subject=image, patient=lesion.patient, reason=reason.strip())
    ledger.end_duty(duty, by=by, evidence=row)
    _compare_anew(lesion, image, by)
    return image


def bring_back(duty: Duty, by: Member, move_id: int) -> None:
    """Bring a moved picture back where it was, to be put right anew; refused where somebody decided on it there."""
    row = PictureMove.objects.select_related("image__lesion__patient", "from_lesion__patient").get(pk=move_id)
    image, there, home = row.image, row.image.lesion, row.from_lesion
    _check_not_decided(row, there)
    for key in sorted({there.pk, home.pk}):
        register.lock(key)
    change(image, seen=image.revision, at=clock.now(), lesion=home, set_aside=False)
    if there.pk != home.pk:  # what was only set aside stayed where it was
        _moved(image, there, home, by)
    for patient in {one.patient_id: one.patient for one in (there, home)}.values():
        ways = {"from_lesion": there.pk, "to_lesion": home.pk}
        audit.record("image.move", by=by, subject=image, patient=patient, **ways)
    _compare_anew(there, image, by)


def _check_not_decided(row: PictureMove, lesion: Lesion) -> None:
    signed = owed.standing().filter(lesion=lesion, review__assessment__image=row.image, signed_at__gte=row.at)
    last = signed.exclude(lesion=row.from_lesion).select_related("by").first()
    if last:
        said = {"who": last.by, "what": last.get_decision_display()}
        raise DutyRefused(_("%(who)s has signed “%(what)s” on it since.") % said)


def moved_away(lesion: Lesion) -> QuerySet[PictureMove]:
    """Find pictures that were filed here once and are no more, or no longer count."""
    rows = lesion.moved_away.filter(~Q(image__lesion=lesion) | Q(image__set_aside=True))
    return rows.select_related("by", "to_lesion", "image").order_by("-pk")


def _duty_of(image: Image) -> Duty:
    duty = owed.to_put_right(image)
    if duty is None:
        raise PictureRefused("not_called_wrong")
    return duty


def _moved(image: Image, old: Lesion, new: Lesion | None, by: Member, reason: str = "") -> PictureMove:
    return PictureMove.objects.create(
        image=image, from_lesion=old, to_lesion=new, reason=reason, by=by, at=clock.now()
    )


def _measure_anew(image: Image, by: Member) -> None:
    """Have a moved picture measured and compared anew: the same bytes give the same figures."""
    if image.kind == ImageKind.OVERVIEW:
        return
    row = outlines.in_use(image.assessments.filter(version=VERSION))
    if row is None:
        intake.queue(picture=image, by=by)
    else:
        _again(row, by)


def _compare_anew(lesion: Lesion, image: Image, by: Member) -> None:
    """Judge again, without the moved picture, what was compared with it.

    Nothing waits about the picture any more: what it had replaced undecided waits in its place.
    """
    waits = Review.objects.filter(lesion=lesion, state=ReviewState.WAITING)
    about_it = waits.filter(assessment__image=image).select_related("lesion__patient", "assessment").first()
    if about_it:
        found = Review.objects.filter(pk=about_it.pk)
        found.update(state=ReviewState.SUPERSEDED, revision=F("revision") + 1, changed_at=clock.now())
        # The picture before it was never decided on, only replaced; with this one gone it waits as it did.
        reviews.wait_with_the_one_before(about_it, by=by)
    review = waits.select_related("assessment__image").first()
    if review and Comparison.objects.filter(later=review.assessment, earlier__image=image).exists():
        _again(review.assessment, by)


def _again(row: Assessment, by: Member) -> None:
    now = clock.now()
    settled = Assessment.objects.filter(~Q(state__in=UNFINISHED), pk=row.pk)

    if settled.update(**outlines.queued_anew(now), revision=F("revision") + 1, changed_at=now):
        patient = row.image.lesion.patient
        audit.record("assessment.queue", by=by, subject=row, patient=patient, version=row.version)
        jobs.request_work("assess", row.pk)
