"""Find the work on pictures that is left: to be measured, could not be measured, and files that were refused."""

from collections.abc import Callable, Mapping
from typing import Any

from django.db.models import QuerySet

from clinic.duties import proposals
from clinic.duties.kinds import OwningList
from lesions.looking import queue
from lesions.models import Assessment, JobState, RefusedUpload, Review, ReviewState
from lesions.register import register


def to_measure() -> QuerySet[Assessment]:
    """Find pictures that wait to be measured, the oldest first."""
    return _jobs().filter(state__in=(JobState.QUEUED, JobState.RUNNING)).order_by("queued_at", "pk")


def not_measured() -> QuerySet[Assessment]:
    """Find pictures that could not be measured, where nobody has decided on the lesion since."""
    # By the review that waits: decided by eye, a picture that cannot be measured is nobody's work any more.
    failed = _jobs().filter(state=JobState.FAILED, reviews__state=ReviewState.WAITING)
    return failed.order_by("finished_at", "pk")


def refused() -> QuerySet[RefusedUpload]:
    """Find files that could not be taken and that nobody has dealt with."""
    return RefusedUpload.objects.filter(settled_at__isnull=True).select_related("lesion__patient", "by")


def _jobs() -> QuerySet[Assessment]:
    return Assessment.objects.select_related("image__lesion__patient")


def unflagged() -> QuerySet[Review]:
    """Find what stands in the other list: inside every limit, and not mixed in by the lot."""
    return Review.objects.filter(~queue.AMONG_FLAGGED, state=ReviewState.WAITING)


def flagged() -> QuerySet[Review]:
    """Find what stands in Decisions: the flagged, and the unflagged that the lot mixed in among them."""
    return Review.objects.filter(queue.AMONG_FLAGGED, state=ReviewState.WAITING)


# What the lists hold besides the ledger's duties.
HELD: Mapping[OwningList, Mapping[str, Callable[[], QuerySet[Any]]]] = {
    OwningList.PICTURES: {"to_measure": to_measure, "not_measured": not_measured, "refused": refused},
    OwningList.DECISIONS: {
        "flagged": flagged,
        "signs": register.without_picture,
        "proposed": proposals.waiting,
    },
}
