"""What waits for a dermatologist: opened by a measurement, replaced by the next, nothing undecided forgotten."""

from dataclasses import asdict, fields, replace

from django.db.models import F, Q

from clinic import clock
from clinic.trail import audit
from lesions.limits.flags import FlagDraft
from lesions.models import Assessment, Comparison, Flag, Image, JobState, Lesion, Review, ReviewState
from lesions.register import register


def open_review(
    *, lesion: Lesion, assessment: Assessment, comparison: Comparison | None, drafts: list[FlagDraft]
) -> Review | None:
    """Put the lesion before a dermatologist, in the caller's transaction; undecided reasons are kept.

    An older picture filed late opens nothing: the newer one is what must be looked at.
    """
    if _newer_exists(assessment.image):
        return None
    now = clock.now()
    drafts = drafts + _carried(lesion, assessment, {draft.code for draft in drafts})
    old = Review.objects.filter(lesion=lesion, state=ReviewState.WAITING)
    old.update(state=ReviewState.SUPERSEDED, revision=F("revision") + 1, changed_at=now)
    urgent = register.open_signs(lesion).exists()
    review = Review.objects.create(
        lesion=lesion,
        assessment=assessment,
        comparison=comparison,
        flagged=bool(drafts) or urgent,
        urgent=urgent,
        opened_at=now,
        changed_at=now,
    )
    Flag.objects.bulk_create(Flag(review=review, **asdict(draft)) for draft in drafts)
    codes = [draft.code for draft in drafts]
    audit.record("review.open", by=None, subject=review, patient=lesion.patient, flags=codes, urgent=urgent)
    return review


def _newer_exists(picture: Image) -> bool:
    newer = Q(taken_on__gt=picture.taken_on) | Q(taken_on=picture.taken_on, pk__gt=picture.pk)
    done = Q(assessments__state__in=(JobState.DONE, JobState.FAILED))
    return Image.objects.filter(newer, done, lesion=picture.lesion_id, kind=picture.kind).exists()


# Said about one photograph, not about the lesion: a later picture answers them.
_OF_THE_PICTURE = ("doubtful", "inadequate", "unaligned", "unmeasured", "nothing_to_compare", "no_limits")
_UNDECIDED = " Seen on an earlier picture and not decided yet."
_REMEASURED = " Seen when this picture was measured before and not decided yet."


def _carried(lesion: Lesion, assessment: Assessment, new: set[str]) -> list[FlagDraft]:
    """A change that nobody has decided on is not forgotten because the next figures show no further one."""
    waits = (
        Review.objects.filter(lesion=lesion, state=ReviewState.WAITING).select_related("assessment").first()
    )
    if waits is None:
        return []
    same = waits.assessment.image_id == assessment.image_id
    kept = [draft for draft in drafts_of(waits) if draft.code not in {*new, *_OF_THE_PICTURE}]
    return [replace(draft, text=_marked(draft.text, _REMEASURED if same else _UNDECIDED)) for draft in kept]


def _marked(text: str, words: str) -> str:
    return text.removesuffix(_UNDECIDED).removesuffix(_REMEASURED) + words


def drafts_of(review: Review) -> list[FlagDraft]:
    names = [field.name for field in fields(FlagDraft)]
    return [FlagDraft(**{name: getattr(flag, name) for name in names}) for flag in review.flags.all()]


def is_news(row: Assessment, drafts: list[FlagDraft]) -> bool:
    """A picture that was decided on waits again only for a reason that was not known then."""
    waits = Review.objects.filter(lesion=row.image.lesion_id, state=ReviewState.WAITING)
    decided = Review.objects.filter(assessment__image=row.image_id, state=ReviewState.SIGNED)
    if waits.exists() or not decided.exists():
        return True
    known = set(Flag.objects.filter(review__in=decided).values_list("code", flat=True))
    return bool({draft.code for draft in drafts} - known - set(_OF_THE_PICTURE))
