"""Do in the background what takes too long for a page: which rows wait, and which worker takes one."""

from datetime import timedelta

from django.db.models import Q, QuerySet

from clinic import clock
from clinic.models import Patient
from scheduling.models import PreviewRun, YearRun

AT_ONCE = 500  # records up to which a page works it out itself, in about a second
GIVEN_UP = timedelta(minutes=10)  # after which another worker may take it
Kind = type[PreviewRun] | type[YearRun]


def is_large() -> bool:
    """Say whether so many records are kept that a page must not wait for a pass over all of them."""
    return Patient.objects.filter(merged_into__isnull=True).count() > AT_ONCE


def waiting(kind: Kind) -> list[int]:
    """List the rows that no worker has taken."""
    return list(_free(kind).values_list("pk", flat=True))


def claim(kind: Kind, run_id: int) -> bool:
    """Claim a row for this worker: of two workers one gets it."""
    # Asked and written in one statement: between two of them the other worker could come.
    return bool(_free(kind).filter(pk=run_id).update(started_at=clock.now()))


def ask_again(kind: Kind, run_id: int, **more: str) -> bool:
    """Ask for a finished run again: one that waits is not asked for twice. The old result stays until then."""
    done = kind.objects.filter(pk=run_id, made_at__isnull=False)
    return bool(done.update(asked_at=clock.now(), started_at=None, made_at=None, **more))


def _free(kind: Kind) -> QuerySet[PreviewRun] | QuerySet[YearRun]:
    idle = Q(started_at__isnull=True) | Q(started_at__lt=clock.now() - GIVEN_UP)
    return kind.objects.filter(idle, made_at__isnull=True)
