"""Give the last count of where everybody is, read once for a page and the notice above it."""

from django.http import HttpRequest

from clinic import clock
from scheduling.counting import whereabouts
from scheduling.models import FailsafeRun


def newest(request: HttpRequest) -> FailsafeRun | None:
    """Find the newest count without its figures, whatever day it bears."""
    known = vars(request)
    if "newest_count" not in known:
        known["newest_count"] = FailsafeRun.objects.defer(*whereabouts.FIGURES).first()
    run: FailsafeRun | None = known["newest_count"]
    return run


def is_ahead(run: FailsafeRun) -> bool:
    """Say whether a clock ran ahead when this count was made: it does not count as run."""
    return run.ran_at > clock.now() or run.day > clock.today()


def last_count(request: HttpRequest) -> FailsafeRun | None:
    """Find the last count made by now, without its figures."""
    run = newest(request)
    return whereabouts.last_count(figures=False) if run and is_ahead(run) else run
