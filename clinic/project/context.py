"""What every page carries: the places of this role, and the notices nobody may miss."""

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext as _

from clinic import clock
from clinic.pages import masthead
from clinic.wording import Words


@dataclass(frozen=True)
class PlaceLink:
    label: Words
    url: str
    count: int
    current: bool
    key: str = ""


def desk(request: HttpRequest) -> dict[str, Any]:
    """Give every page its masthead: the places of this role, what stands still, and today's day."""
    # A page of an error can come before anybody is known: it still says what stands still.
    if not getattr(request, "user", None) or not request.user.is_authenticated:
        return {"places": [], "notices": _program_notices(), "today": clock.today()}
    # Asked where a template shows them, and once: an answer without a masthead asks nothing.
    return {
        "places": SimpleLazyObject(lambda: _places(request)),
        "notices": SimpleLazyObject(lambda: _program_notices() + masthead.notices_for(request)),
        "today": clock.today(),
        "demo": settings.DEMO,
    }


def _places(request: HttpRequest) -> list[PlaceLink]:
    links = []
    for place in masthead.places_for(request):
        url = reverse(place.url_name)
        count = place.count(request) if place.count else 0
        links.append(PlaceLink(place.label, url, count, request.path.startswith(url), place.key))
    return links


def _program_notices() -> list[str]:
    notices = []
    if settings.DEMO:
        notices.append(_("Demonstration: every person and picture here is invented. Not for real patients."))
    if settings.QUARTERDAY_QUEUE == "database":
        notices.append(
            _("No message broker was found: background work is done by one plain worker, more slowly.")
        )
    return notices
