"""Idle sign-out, records that were merged away, the counts after an act, and the address that a sign-in came from."""

import time
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from clinic.models.base import NOTHING_SAVED
from clinic.pages.responses import to_survivor
from clinic.tally import tally
from clinic.trail.audit import MergedAway

# A session lives 30 minutes as shipped: one write a minute is exact enough.
TOUCH_SECONDS = 60


class IdleTimeout:
    """Push the end of a session on while somebody works.

    At most one write a minute: a save at every request would queue each page behind SQLite's one writer.
    A request with the header `X-Quarterday-Poll` comes from a page, not from a person, and pushes nothing.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "X-Quarterday-Poll" not in request.headers and request.user.is_authenticated:
            now = int(time.time())
            if now - request.session.get("seen", 0) >= TOUCH_SECONDS:
                request.session["seen"] = now
        return self.get_response(request)


class MergedAwayRecord:
    """Lead whoever writes on a record that was merged meanwhile to the record that is kept: nothing was saved."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        return (
            to_survivor(request, error.patient, str(NOTHING_SAVED)) if isinstance(error, MergedAway) else None
        )


class CountsAfterAnAct:
    """Count the lists anew after an act and before its answer, so that the page that follows only reads the numbers."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.method not in ("GET", "HEAD", "OPTIONS"):
            tally.keep()
        return response


def client_address(request: HttpRequest) -> str:
    """Return the caller's address: the proxy's word for it only where settings say there is a proxy."""
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "") if settings.BEHIND_PROXY else ""
    # The last entry is the one our own proxy wrote; those before it are the caller's claim.
    return forwarded.rsplit(",", 1)[-1].strip() or request.META.get("REMOTE_ADDR", "")
