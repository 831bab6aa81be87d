"""Give the last count of where everybody is, read once for a page and the notice above it."""

from django.http import HttpRequest

from clinic import clock
from scheduling.models import FailsafeRun

# What a page need not read that only says when the count ran and whether it adds up: keys of many patients.
_FIGURES = ("counts", "alarms", "checks_ended")


def newest(request: HttpRequest) -> FailsafeRun | None:
    """Find the newest count without its figures, whatever day it bears."""
    known = vars(request)
    if "newest_count" not in known:
        known["newest_count"] = FailsafeRun.objects.defer(*_FIGURES).first()
    run: FailsafeRun | None = known["newest_count"]
    return run


def is_ahead(run: FailsafeRun) -> bool:
    """Say whether a clock ran ahead when this count was made: it does not count as run."""
    return run.ran_at > clock.now() or run.day > clock.today()


def last_count(request: HttpRequest) -> FailsafeRun | None:
    """Find the last count made by now, without its figures."""
    run = newest(request)
    if run is None or not is_ahead(run):
        return run
    made = FailsafeRun.objects.filter(ran_at__lte=clock.now(), day__lte=clock.today())
    return made.defer(*_FIGURES).first()
