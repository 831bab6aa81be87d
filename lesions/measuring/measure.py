"""Measure a picture that waits, compare it with earlier ones, and put the lesion before a dermatologist."""

import logging
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F, Q, QuerySet

from clinic import clock, jobs, policies
from clinic.access import Act, require
from clinic.models import Member, Policy, PolicyKind, change
from clinic.trail import audit
from lesions.analysis import types
from lesions.analysis.picture.allowance import UnreadablePicture
from lesions.analysis.refusals import UnusableOutline
from lesions.analysis.types import Message
from lesions.limits import flags
from lesions.limits.flags import FlagDraft
from lesions.models import Assessment, Comparison, Image, ImageKind, JobState, Lesion, Review, ReviewState
from lesions.pictures import allowance, outlines, storage
from lesions.register import register
from lesions.review import owed, reviews

if TYPE_CHECKING:
    from lesions.analysis.types import Measurement

# Far longer than any picture takes: a lease that ends too early has two workers measure the same one.
LEASE = timedelta(minutes=2)
MOST_ATTEMPTS = 3
# The sweep asks again anyway: a list of thousands would only be fetched to be forgotten.
BATCH = 100
GIVEN_UP = Message("given_up")
NOT_FORESEEN = Message("not_foreseen")
log = logging.getLogger("quarterday.pictures")


@dataclass(frozen=True)
class _Compared:
    earlier: Assessment
    later: Assessment
    found: types.Comparison
    map_sha256: str


@dataclass(frozen=True)
class _Found:
    """What one measuring answers: its figures, comparisons with earlier pictures, and of a later one with it."""

    measurement: "Measurement"
    back: list[_Compared]
    ahead: _Compared | None


def _unfinished() -> QuerySet[Assessment]:
    """Find assessments that wait, or were taken by a worker whose time has run out."""
    lapsed = Q(state=JobState.RUNNING, lease_until__lt=clock.now())
    return Assessment.objects.filter(Q(state=JobState.QUEUED) | lapsed)


def waiting() -> list[int]:
    """List the pictures that wait to be measured, the longest wait first."""
    return list(_unfinished().order_by("queued_at", "pk").values_list("pk", flat=True)[:BATCH])


def measure_picture(assessment_id: int) -> None:
    """Measure one picture; returns quietly if somebody else has it or has done it."""
    attempt = _claim(assessment_id)
    if attempt is None:
        return
    row = Assessment.objects.select_related("image__lesion__patient").get(pk=assessment_id)
    # A picture that kills its worker never answers; so the attempts are counted when it is taken.
    if attempt > MOST_ATTEMPTS:
        _fail(row, attempt, GIVEN_UP)
        return
    try:
        found = _measured(row)
    except (UnreadablePicture, UnusableOutline, storage.Damaged) as error:
        _fail(row, attempt, error.message)
        return
    except ValueError:  # a library's own words are for the log, not for staff
        log.exception("picture %s could not be measured", row.image_id)
        _fail(row, attempt, NOT_FORESEEN)
        return
    _finish(row, attempt, found)


@transaction.atomic
def measure_again(*, assessment: Assessment, by: Member, revision: int) -> Assessment:
    """Give a failed measuring three more attempts. Raises StaleRow where it is no longer failed."""
    require(by, Act.ADD_PICTURES)
    now = clock.now()
    change(assessment, seen=revision, at=now, where={"state": JobState.FAILED}, **outlines.queued_anew(now))
    patient = assessment.image.lesion.patient
    audit.record("assessment.queue", by=by, subject=assessment, patient=patient, version=assessment.version)
    jobs.request_work("assess", assessment.pk)
    return assessment


def _claim(assessment_id: int) -> int | None:
    """Claim a picture for this worker; the number of the attempt guards everything that it writes later."""
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


def _measured(row: Assessment) -> _Found:
    """Measure the picture: seconds of work, outside any transaction. The core loads here, never in a web process."""
    from lesions.analysis import pipeline  # noqa: PLC0415  keeps scikit-image out of the web process

    outline = types.Outline.from_json(row.outline) if row.outline else None
    data = storage.read(row.image.sha256)
    # A ruler on the glass belongs to contact pictures; in a close-up a seam or a tattoo would pass for one.
    contact = row.image.kind == ImageKind.DERMOSCOPIC
    found = pipeline.measure(
        data,
        scale=_scale(row.image),
        outline=outline,
        look_for_ruler=contact,
        allowance=allowance.from_settings(),
    )
    # Earlier figures are read as stored: only this picture is measured now.
    back = [_compare(earlier, _answer(earlier), row, found) for earlier in earlier_assessments(row)]
    later = _shown_later(row)
    return _Found(found, back, _compare(row, found, later, _answer(later)) if later else None)


def _compare(
    earlier: Assessment, before: "Measurement", later: Assessment, after: "Measurement"
) -> _Compared:
    """Compare two pictures and draw what changed; the map is kept as a file, so that no web process has to draw."""
    from lesions.analysis import pipeline  # noqa: PLC0415  keeps scikit-image out of the web process
    from lesions.analysis.drawing import changemap  # noqa: PLC0415  keeps numpy out of the web process

    one, two = storage.read(earlier.image.sha256), storage.read(later.image.sha256)
    most = allowance.from_settings()
    found = pipeline.compare(one, two, earlier_measurement=before, later_measurement=after, allowance=most)
    aligned = found.registration.aligned
    # Files before rows: a file without a row harms nobody, a row without its file would be a broken page.
    drawn = storage.put(changemap.draw(one, found, allowance=most)) if aligned else ""
    return _Compared(earlier, later, found, drawn)


def _answer(row: Assessment) -> "Measurement":
    return types.Measurement.from_json(row.result or {})


def _scale(picture: Image) -> types.Scale | None:
    if picture.mm_per_px is None or picture.scale_origin is None or picture.scale_uncertainty is None:
        return None
    return types.Scale(picture.mm_per_px, picture.scale_origin, picture.scale_uncertainty)


def earlier_assessments(row: Assessment) -> list[Assessment]:
    """Find the previous and the first picture of the same kind, measured at this version; the previous comes first."""
    return _ends(_before(row))


def _before(row: Assessment) -> list[Assessment]:
    """Find of each earlier picture the assessment that counts, the first picture first."""
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
    ).exclude(image__in=owed.unusable_pictures().filter(lesion=picture.lesion_id))
    ordered = found.select_related("image").order_by("image__taken_on", "image", "pk")
    counting = (outlines.in_use(rows) for _, rows in groupby(ordered, key=lambda each: each.image_id))
    return [row for row in counting if row]


def _ends(rows: list[Assessment]) -> list[Assessment]:
    return rows if len(rows) < 2 else [rows[-1], rows[0]]


def _shown_later(row: Assessment) -> Assessment | None:
    """Find the later picture that waits for a decision and is compared with this one (measured anew, or filed late)."""
    waits = Review.objects.filter(lesion=row.image.lesion_id, state=ReviewState.WAITING)
    review = waits.select_related("assessment__image").first()
    # Still being measured, it will be compared with this picture when it is done.
    if review is None or review.assessment.state != JobState.DONE:
        return None
    later = review.assessment
    same = later.version == row.version and later.image.kind == row.image.kind
    if not same or later.image_id == row.image_id or not _is_earlier(row.image, later.image):
        return None
    others = [each for each in _before(later) if each.image_id != row.image_id]
    ordered = sorted([*others, row], key=lambda each: (each.image.taken_on, each.image_id))
    return later if row in _ends(ordered) else None


def _is_earlier(one: Image, two: Image) -> bool:
    return (one.taken_on, one.pk) < (two.taken_on, two.pk)


@transaction.atomic
def _finish(row: Assessment, attempt: int, found: _Found) -> None:
    lesion = register.lock(row.image.lesion_id)
    if _moved_meanwhile(row, attempt) or not _settle(
        row, attempt, state=JobState.DONE, result=found.measurement.to_json()
    ):
        return
    kept = [_keep(each) for each in found.back]
    audit.record("assessment.done", by=None, subject=row, patient=lesion.patient, version=row.version)
    owed.picture_measured(row, found.measurement)
    # Read within the transaction: the limits in force now, not those from before the seconds of measuring.
    policy = policies.in_force(PolicyKind.FLAGS)
    drafts = _drafts(found.measurement, found.back, policy)
    if reviews.is_news(row, drafts):
        reviews.open_review(
            lesion=lesion, assessment=row, comparison=kept[0] if kept else None, drafts=drafts
        )
    if found.ahead:
        _show_anew(lesion, found.ahead, policy)


def _moved_meanwhile(row: Assessment, attempt: int) -> bool:
    """Say whether the picture was moved to its right lesion meanwhile: the next attempt then compares it there."""
    moved = Image.objects.filter(pk=row.image_id).exclude(lesion=row.image.lesion_id).exists()
    if moved:
        _settle(row, attempt, state=JobState.QUEUED)
    return moved


def _keep(each: _Compared) -> Comparison:
    """Keep a comparison; it is made anew where a picture was moved away and back."""
    found = {
        "made_at": clock.now(),
        "aligned": each.found.registration.aligned,
        "result": each.found.to_json(),
        "map_sha256": each.map_sha256,
    }
    row, _ = Comparison.objects.update_or_create(earlier=each.earlier, later=each.later, defaults=found)
    return row


def _show_anew(lesion: Lesion, ahead: _Compared, policy: Policy | None) -> None:
    """Judge a waiting picture anew where an earlier one got new figures."""
    waits = Review.objects.filter(lesion=lesion, state=ReviewState.WAITING, assessment=ahead.later)
    if not waits.exists():
        return  # decided meanwhile, or another picture came
    new = _keep(ahead)
    shown = [
        Comparison.objects.select_related("earlier__image").filter(earlier=each, later=ahead.later).first()
        for each in earlier_assessments(ahead.later)
    ]
    kept = [each for each in shown if each]
    compared = [
        _Compared(each.earlier, ahead.later, types.Comparison.from_json(each.result), each.map_sha256)
        for each in kept
    ]
    drafts = _drafts(_answer(ahead.later), compared, policy)
    comparison = kept[0] if kept else new
    reviews.open_review(lesion=lesion, assessment=ahead.later, comparison=comparison, drafts=drafts)


@transaction.atomic
def _fail(row: Assessment, attempt: int, why: Message) -> None:
    """Note that measuring failed: the picture then waits for a decision like one beyond a limit."""
    lesion = register.lock(row.image.lesion_id)
    failed = {"failure": why.code, "failure_params": why.params}
    if _moved_meanwhile(row, attempt) or not _settle(row, attempt, state=JobState.FAILED, **failed):
        return
    audit.record("assessment.fail", by=None, subject=row, patient=lesion.patient, **failed)
    drafts = [flags.failed(why)]
    if reviews.is_news(row, drafts) and reviews.open_review(
        lesion=lesion, assessment=row, comparison=None, drafts=drafts
    ):
        owed.repeat_failed(row, lesion)


def _settle(row: Assessment, attempt: int, **answer: object) -> bool:
    """Write the result; False if time ran out and another worker took over: then that one's answer counts."""
    now = clock.now()
    # The number of the attempt and not the state alone: another worker may be running the same row by now.
    mine = Assessment.objects.filter(pk=row.pk, state=JobState.RUNNING, attempts=attempt)
    changed = mine.update(
        **answer, finished_at=now, lease_until=None, revision=F("revision") + 1, changed_at=now
    )
    row.refresh_from_db()
    return bool(changed)


def _drafts(found: "Measurement", compared: list[_Compared], policy: Policy | None) -> list[FlagDraft]:
    """Flag changes since the previous and the first picture, doubt first; of two with one code the larger value."""
    drafts: dict[str, FlagDraft] = {}
    against: list[_Compared] | list[None] = compared or [None]
    for each in against:
        for draft in flags.raise_flags(found, each.found if each else None, policy):
            known = drafts.get(draft.code)
            # Slow growth shows against the first picture only, quick growth against the last: the larger one is
            # shown.
            if known is None or (draft.value or 0) > (known.value or 0):
                drafts[draft.code] = _dated(draft, each, policy)
    return sorted(drafts.values(), key=lambda draft: draft.code != "doubtful")


def _dated(draft: FlagDraft, compared: _Compared | None, policy: Policy | None) -> FlagDraft:
    """Write since when something changed, because the page may show another earlier picture."""
    if compared is None or policy is None or draft.code not in flags.codes_of_change(policy.toml):
        return draft
    day = compared.earlier.image.taken_on.isoformat()
    return replace(draft, params=draft.params | {"compared_with": day})
