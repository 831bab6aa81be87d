"""Work on pictures that is left: what waits to be measured, what could not be, and files that were refused."""

from django.db.models import QuerySet

from clinic.duties import ledger, proposals
from clinic.duties.kinds import OwningList
from lesions.models import Assessment, JobState, RefusedUpload, Review, ReviewState


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
    owed = ledger.on_list(OwningList.PICTURES).count()
    return to_measure().count() + not_measured().count() + refused().count() + owed


def decisions() -> int:
    """Flagged reviews, what was proposed, and what wants a dermatologist's word."""
    flagged = Review.objects.filter(state=ReviewState.WAITING, flagged=True).count()
    return flagged + proposals.waiting().count() + ledger.on_list(OwningList.DECISIONS).count()


def results() -> int:
    return ledger.on_list(OwningList.RESULTS).count()
