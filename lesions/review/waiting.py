"""Work on pictures that is left: what waits to be measured, what could not be, and files that were refused."""

from django.db.models import QuerySet

from clinic.duties import proposals
from lesions.models import Assessment, JobState, RefusedUpload, Review, ReviewState
from lesions.register import register


def to_measure() -> QuerySet[Assessment]:
    return _jobs().filter(state__in=(JobState.QUEUED, JobState.RUNNING)).order_by("queued_at", "pk")


def not_measured() -> QuerySet[Assessment]:
    """Failed, and nobody has decided on the lesion since."""
    failed = _jobs().filter(state=JobState.FAILED, reviews__state=ReviewState.WAITING)
    return failed.order_by("finished_at", "pk")


def refused() -> QuerySet[RefusedUpload]:
    return RefusedUpload.objects.filter(settled_at__isnull=True).select_related("lesion__patient", "by")


def _jobs() -> QuerySet[Assessment]:
    return Assessment.objects.select_related("image__lesion__patient")


def pictures() -> int:
    return to_measure().count() + not_measured().count() + refused().count()


def decisions() -> int:
    """Flagged reviews, signs without a picture, and what was proposed."""
    flagged = Review.objects.filter(state=ReviewState.WAITING, flagged=True).count()
    flagged += register.without_picture().count()
    return flagged + proposals.waiting().count()
