"""Say and settle what lesions leave open when care ends: decisions that wait, and signs that nobody has examined."""

from django.db.models import F, QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.models import CareEnd, Member, Patient, Step
from clinic.people.ending import Keeper
from clinic.trail import audit
from clinic.wording import Words
from lesions.models import Review, ReviewState, UrgentSign
from lesions.register import register


def _nothing(patient: Patient) -> list[Words]:
    """Name nothing: no duty about a lesion ends with the care itself."""
    return []


def outlives(patient: Patient) -> list[Words]:
    """Say what about lesions is owed until it is handed over: signs to examine, decisions that wait."""
    signs: list[Words] = [
        _("%(sign)s, noted, to be examined in person") % {"sign": sign.get_sign_display()}
        for sign in _signs(patient)
    ]
    decisions: list[Words] = [
        _("a decision on lesion %(label)s") % {"label": review.lesion.label} for review in _reviews(patient)
    ]
    return signs + decisions


def _signs(patient: Patient) -> QuerySet[UrgentSign]:
    return register.examinations_wanted().filter(patient=patient)


def _reviews(patient: Patient) -> QuerySet[Review]:
    waits = Review.objects.filter(lesion__patient=patient, state=ReviewState.WAITING)
    return waits.select_related("lesion").order_by("pk")


def _close(end: CareEnd) -> None:
    """Close nothing: see `_nothing`."""


def hand_over(patient: Patient, step: Step) -> None:
    """Settle what waited, because somebody elsewhere looks after the patient now."""
    _signs(patient).update(handed_over=step)
    for review in _reviews(patient):
        _set(review, ReviewState.HANDED_OVER)
        audit.record("review.hand_over", by=step.by, subject=review, patient=patient, whom=step.whom)


def _set(review: Review, state: ReviewState) -> None:
    found = Review.objects.filter(pk=review.pk)
    found.update(state=state, revision=F("revision") + 1, changed_at=clock.now())


def reopen(end: CareEnd, by: Member) -> None:
    """Open again, when care resumes, what was handed over, unless a newer picture waits already."""
    handed = UrgentSign.objects.filter(handed_over__duty__opened_from=audit.subject_of(end))
    handed.update(handed_over=None)
    rows = Review.objects.filter(lesion__patient=end.patient, state=ReviewState.HANDED_OVER)
    for review in rows.select_related("lesion").order_by("-pk"):
        # The database allows one for each lesion, and the newer picture shows more.
        if not review.lesion.reviews.filter(state=ReviewState.WAITING).exists():
            _set(review, ReviewState.WAITING)
            audit.record("review.reopen", by=by, subject=review, patient=end.patient)


KEEPER = Keeper(_nothing, outlives, _close, hand_over, reopen)
