"""Keep the reviews that wait for a dermatologist: a measurement opens one, the next replaces it, no reason is lost."""

from dataclasses import asdict, dataclass, fields, replace
from datetime import date, datetime

from django.db.models import F, Q, QuerySet

from clinic import clock
from clinic.access import Act, may
from clinic.models import Member
from clinic.trail import audit
from lesions.limits.flags import FlagDraft
from lesions.looking import lots
from lesions.models import (
    Assessment,
    Comparison,
    Decision,
    Flag,
    Image,
    JobState,
    Lesion,
    Review,
    ReviewState,
    SignOff,
)
from lesions.register import register
from lesions.review import owed


@dataclass(frozen=True)
class NotFor:
    """Whose list a review does not stand in: who asked for another's reading, and who dissented."""

    asked_by: Member | None = None
    dissented_by: Member | None = None


def open_review(
    *,
    lesion: Lesion,
    assessment: Assessment,
    comparison: Comparison | None,
    drafts: list[FlagDraft],
    not_for: NotFor | None = None,
) -> Review | None:
    """Put the lesion before a dermatologist, in the caller's transaction; undecided reasons are kept.

    An older picture filed late opens nothing: the newer one is what must be looked at.
    """
    if _newer_exists(assessment.image):
        return None
    drafts = drafts + _carried(lesion, assessment, {draft.code for draft in drafts})
    return _create(lesion, assessment, comparison, drafts, clock.now(), not_for)


def _create(
    lesion: Lesion,
    assessment: Assessment,
    comparison: Comparison | None,
    drafts: list[FlagDraft],
    opened_at: datetime,
    not_for: NotFor | None = None,
) -> Review:
    now = clock.now()
    old = Review.objects.filter(lesion=lesion, state=ReviewState.WAITING)
    readers = not_for or _not_for_of(old.first())
    # Before the new one is made: the database allows a lesion one review that waits.
    old.update(state=ReviewState.SUPERSEDED, revision=F("revision") + 1, changed_at=now)
    urgent = register.open_signs(lesion).exists()
    review = Review.objects.create(
        lesion=lesion,
        assessment=assessment,
        comparison=comparison,
        flagged=bool(drafts) or urgent,
        urgent=urgent,
        **lots.draw(flagged=bool(drafts) or urgent),
        asked_by=readers.asked_by,
        dissented_by=readers.dissented_by,
        opened_at=opened_at,
        changed_at=now,
    )
    Flag.objects.bulk_create(Flag(review=review, **asdict(draft)) for draft in drafts)
    codes = [draft.code for draft in drafts]
    audit.record("review.open", by=None, subject=review, patient=lesion.patient, flags=codes, urgent=urgent)
    return review


def decisions_before(review: Review | None, reader: Member) -> QuerySet[SignOff]:
    """Find decisions, without those that whoever reads a second or third time is not to see before signing."""
    rows = SignOff.objects.all()
    if review is None or review.state != ReviewState.WAITING or review.asked_by_id is None:
        return rows
    if reader.pk in (review.asked_by_id, review.dissented_by_id) or not may(reader, Act.SIGN_OFF):
        return rows
    # By what was asked as well as by the picture: a newer picture must not bring the first reader's word to light.
    of_it = Q(review__assessment__image=review.assessment.image_id) | Q(decision=Decision.SECOND_READING)
    return rows.exclude(of_it, by=review.asked_by_id, signed_at__lte=review.opened_at)


def _not_for_of(waits: Review | None) -> NotFor:
    """Keep who must not read: a newer picture changes nothing about that."""
    return NotFor(waits.asked_by, waits.dissented_by) if waits else NotFor()


def put_back(review: Review, state: ReviewState, *, by: Member) -> Review:
    """Put back a review that was decided or replaced: it waits again, or a newer one takes its reasons over."""
    Review.objects.filter(pk=review.pk).update(
        state=state, revision=F("revision") + 1, changed_at=clock.now()
    )
    lesion = review.lesion
    waits = lesion.reviews.filter(state=ReviewState.WAITING).select_related("assessment__image").first()
    # The newer picture keeps its place, and what was undecided about the older one goes into its reasons.
    if waits and _order(waits) > _order(review):
        return _take_along(waits, drafts_of(review))
    kept = drafts_of(review)
    # Not the second reading that was asked for by the very signature that is taken back.
    kept += _carried(lesion, review.assessment, {draft.code for draft in kept} | {"second_reading"})
    readers = NotFor(review.asked_by, review.dissented_by)
    again = _create(lesion, review.assessment, review.comparison, kept, review.opened_at, readers)
    audit.record("review.reopen", by=by, subject=again, patient=lesion.patient)
    return again


def _order(review: Review) -> tuple[date, int]:
    return review.assessment.image.taken_on, review.assessment.image_id


def _take_along(waits: Review, drafts: list[FlagDraft]) -> Review:
    known = {*waits.flags.values_list("code", flat=True), *_OF_THE_PICTURE}
    missing = [_marked(one, "earlier_picture") for one in drafts if one.code not in known]
    Flag.objects.bulk_create(Flag(review=waits, **asdict(draft)) for draft in missing)
    if missing:
        found = Review.objects.filter(pk=waits.pk)
        found.update(flagged=True, revision=F("revision") + 1, changed_at=clock.now())
    return waits


def wait_with_the_one_before(review: Review, *, by: Member) -> None:
    """Put the picture before back that was replaced undecided, because the newer photograph is useless."""
    others = review.lesion.reviews.exclude(assessment__image=review.assessment.image_id)
    last = others.filter(pk__lt=review.pk).select_related("assessment__image").order_by("-pk").first()
    if last and last.state == ReviewState.SUPERSEDED:
        put_back(last, ReviewState.SUPERSEDED, by=by)


def raise_urgent(lesion: Lesion) -> None:
    """Make a waiting review urgent where the lesion has an open sign: it is never left among the unflagged ones."""
    if register.open_signs(lesion).exists():
        waiting = Review.objects.filter(lesion=lesion, state=ReviewState.WAITING, urgent=False)
        waiting.update(urgent=True, flagged=True, revision=F("revision") + 1, changed_at=clock.now())


def _newer_exists(picture: Image) -> bool:
    newer = Q(taken_on__gt=picture.taken_on) | Q(taken_on=picture.taken_on, pk__gt=picture.pk)
    done = Q(assessments__state__in=(JobState.DONE, JobState.FAILED))
    found = Image.objects.filter(newer, done, lesion=picture.lesion_id, kind=picture.kind)
    return found.exclude(pk__in=owed.unusable_pictures().filter(lesion=picture.lesion_id)).exists()


# Said about one photograph, not about the lesion: a later picture answers them.
_OF_THE_PICTURE = ("doubtful", "inadequate", "unaligned", "unmeasured", "nothing_to_compare", "no_limits")


def _carried(lesion: Lesion, assessment: Assessment, new: set[str]) -> list[FlagDraft]:
    """Carry over reasons that nobody has decided on: the next figures may show no further change."""
    waits = (
        Review.objects.filter(lesion=lesion, state=ReviewState.WAITING).select_related("assessment").first()
    )
    if waits is None:
        return []
    same = waits.assessment.image_id == assessment.image_id
    kept = [draft for draft in drafts_of(waits) if draft.code not in {*new, *_OF_THE_PICTURE}]
    return [_marked(draft, "measured_before" if same else "earlier_picture") for draft in kept]


def _marked(draft: FlagDraft, seen_on: str) -> FlagDraft:
    """Mark a reason as not decided yet, and seen on an earlier picture or when this one was measured before."""
    return replace(draft, params=draft.params | {"undecided": seen_on})


def drafts_of(review: Review) -> list[FlagDraft]:
    names = [field.name for field in fields(FlagDraft)]
    return [FlagDraft(**{name: getattr(flag, name) for name in names}) for flag in review.flags.all()]


def is_news(row: Assessment, drafts: list[FlagDraft]) -> bool:
    """Say whether there is a reason that was not known when the picture was decided on: only then it waits again."""
    if row.image.set_aside:
        return False
    waits = Review.objects.filter(lesion=row.image.lesion_id, state=ReviewState.WAITING)
    decided = Review.objects.filter(
        lesion=row.image.lesion_id, assessment__image=row.image_id, state=ReviewState.SIGNED
    )
    if waits.exists() or not decided.exists():
        return True
    known = set(Flag.objects.filter(review__in=decided).values_list("code", flat=True))
    # Codes and not figures: the same reason with another number would wake a decided lesion at each new version.
    return bool({draft.code for draft in drafts} - known - set(_OF_THE_PICTURE))
