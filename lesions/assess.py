"""Shell round the image core: measure a waiting picture, compare it, put the lesion before a person."""

from dataclasses import asdict, dataclass, fields, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F, Q, QuerySet

from clinic import audit, clock, policies
from clinic.formats.strip import in_words
from clinic.models import Policy, PolicyKind
from lesions import flags, register, storage
from lesions.analysis import types
from lesions.analysis.reading import UnreadablePicture
from lesions.flags import FlagDraft
from lesions.models import Assessment, Comparison, Flag, Image, JobState, Lesion, Review, ReviewState

if TYPE_CHECKING:
    from lesions.analysis.types import Measurement

LEASE = timedelta(minutes=2)
MOST_ATTEMPTS = 3
BATCH = 100
GIVEN_UP = "Measuring it was broken off three times."


@dataclass(frozen=True)
class _Compared:
    earlier: Assessment
    found: types.Comparison


def _unfinished() -> QuerySet[Assessment]:
    """Waiting, or taken by a worker whose lease has lapsed."""
    lapsed = Q(state=JobState.RUNNING, lease_until__lt=clock.now())
    return Assessment.objects.filter(Q(state=JobState.QUEUED) | lapsed)


def waiting() -> list[int]:
    return list(_unfinished().order_by("queued_at", "pk").values_list("pk", flat=True)[:BATCH])


def run(assessment_id: int) -> None:
    """Measure one picture; returns quietly if somebody else has it or has done it."""
    attempt = _claim(assessment_id)
    if attempt is None:
        return
    row = Assessment.objects.select_related("image__lesion__patient").get(pk=assessment_id)
    if attempt > MOST_ATTEMPTS:
        _fail(row, attempt, GIVEN_UP)
        return
    try:
        found, compared = _measured(row)
    except (UnreadablePicture, storage.Damaged, ValueError) as error:
        _fail(row, attempt, str(error) or GIVEN_UP)
        return
    _finish(row, attempt, found, compared)


def _claim(assessment_id: int) -> int | None:
    """One conditional update; the number of the attempt guards everything that this worker writes later."""
    now = clock.now()
    taken = (
        _unfinished()
        .filter(pk=assessment_id)
        .update(
            state=JobState.RUNNING,
            attempts=F("attempts") + 1,
            lease_until=now + LEASE,
            revision=F("revision") + 1,
            changed_at=now,
        )
    )
    return Assessment.objects.values_list("attempts", flat=True).get(pk=assessment_id) if taken else None


def _measured(row: Assessment) -> tuple["Measurement", list[_Compared]]:
    """Seconds of work, outside any transaction. The core loads here, never in a web process."""
    from lesions.analysis import pipeline

    picture = row.image
    data = storage.read(picture.sha256)
    outline = types.Outline.from_json(row.outline) if row.outline else None
    found = pipeline.measure(data, scale=_scale(picture), outline=outline)
    compared = []
    for earlier in earlier_assessments(row):
        before = types.Measurement.from_json(earlier.result)
        result = pipeline.compare(
            storage.read(earlier.image.sha256), data, earlier_measurement=before, later_measurement=found
        )
        compared.append(_Compared(earlier, result))
    return found, compared


def _scale(picture: Image) -> types.Scale | None:
    if picture.mm_per_px is None:
        return None
    return types.Scale(picture.mm_per_px, picture.scale_origin, picture.scale_uncertainty)


def earlier_assessments(row: Assessment) -> list[Assessment]:
    """The previous picture and the first one of the same kind at this version, the previous first."""
    picture = row.image
    before = Q(image__taken_on__lt=picture.taken_on) | Q(
        image__taken_on=picture.taken_on, image__lt=picture.pk
    )
    found = Assessment.objects.filter(
        before,
        image__lesion=picture.lesion_id,
        image__kind=picture.kind,
        version=row.version,
        state=JobState.DONE,
    ).exclude(image__assessments__reviews__signoff__decision__in=("wrong_subject", "inadequate"))
    ordered = list(found.select_related("image").order_by("image__taken_on", "image", "pk"))
    if not ordered:
        return []
    first = [each for each in ordered if each.image_id == ordered[0].image_id][-1]
    return [ordered[-1]] if first.pk == ordered[-1].pk else [ordered[-1], first]


@transaction.atomic
def _finish(row: Assessment, attempt: int, found: "Measurement", compared: list[_Compared]) -> None:
    lesion = register.lock(row.image.lesion_id)
    now = clock.now()
    if not _settle(row, attempt, state=JobState.DONE, result=found.to_json()):
        return
    kept = [
        Comparison.objects.create(
            earlier=each.earlier,
            later=row,
            made_at=now,
            aligned=each.found.registration.aligned,
            result=each.found.to_json(),
        )
        for each in compared
    ]
    audit.record("assessment.done", by=None, subject=row, patient=lesion.patient, version=row.version)
    drafts = _drafts(found, compared, policies.in_force(PolicyKind.FLAGS))
    open_review(lesion=lesion, assessment=row, comparison=kept[0] if kept else None, drafts=drafts)


@transaction.atomic
def _fail(row: Assessment, attempt: int, sentence: str) -> None:
    """A picture without numbers waits for a decision like one beyond a limit."""
    lesion = register.lock(row.image.lesion_id)
    if not _settle(row, attempt, state=JobState.FAILED, failure=sentence):
        return
    audit.record("assessment.fail", by=None, subject=row, patient=lesion.patient, failure=sentence)
    open_review(lesion=lesion, assessment=row, comparison=None, drafts=[flags.failed(sentence)])


def _settle(row: Assessment, attempt: int, **answer: object) -> bool:
    """False if the lease lapsed and another worker took over: then that one's answer counts."""
    now = clock.now()
    mine = Assessment.objects.filter(pk=row.pk, state=JobState.RUNNING, attempts=attempt)
    changed = mine.update(
        **answer, finished_at=now, lease_until=None, revision=F("revision") + 1, changed_at=now
    )
    row.refresh_from_db()
    return bool(changed)


def _drafts(found: "Measurement", compared: list[_Compared], policy: Policy | None) -> list[FlagDraft]:
    """Flags against the previous and against the first picture; of two with one code the larger value."""
    drafts: dict[str, FlagDraft] = {}
    for each in compared or [None]:
        for draft in flags.raise_flags(found, each.found if each else None, policy):
            known = drafts.get(draft.code)
            if known is None or (draft.value or 0) > (known.value or 0):
                drafts[draft.code] = _dated(draft, each, policy)
    return list(drafts.values())


def _dated(draft: FlagDraft, compared: _Compared | None, policy: Policy | None) -> FlagDraft:
    """A change says since when, because the page may show another earlier picture."""
    if compared is None or policy is None or draft.code not in flags.codes_of_change(policy):
        return draft
    day = in_words(compared.earlier.image.taken_on)
    return replace(draft, text=f"{draft.text} Compared with {day}.")


def open_review(
    *, lesion: Lesion, assessment: Assessment, comparison: Comparison | None, drafts: list[FlagDraft]
) -> Review | None:
    """Put the lesion before a dermatologist, in the caller's transaction; undecided reasons are kept.

    An older picture filed late opens nothing: the newer one is what must be looked at.
    """
    if _newer_exists(assessment.image):
        return None
    now = clock.now()
    drafts = drafts + _carried(lesion, {draft.code for draft in drafts})
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


def _carried(lesion: Lesion, new: set[str]) -> list[FlagDraft]:
    """A change that nobody has decided on is not forgotten because the next picture shows no further one."""
    waits = Review.objects.filter(lesion=lesion, state=ReviewState.WAITING).first()
    if waits is None:
        return []
    kept = [draft for draft in drafts_of(waits) if draft.code not in {*new, *_OF_THE_PICTURE}]
    return [replace(draft, text=draft.text.removesuffix(_UNDECIDED) + _UNDECIDED) for draft in kept]


def drafts_of(review: Review) -> list[FlagDraft]:
    names = [field.name for field in fields(FlagDraft)]
    return [FlagDraft(**{name: getattr(flag, name) for name in names}) for flag in review.flags.all()]
