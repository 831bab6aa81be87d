"""Build the masthead: each app registers its places here, and the notices that stand on every page."""

from collections.abc import Callable
from dataclasses import dataclass

from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import heartbeat, jobs
from clinic.access import Act, may
from clinic.wording import Words


@dataclass(frozen=True)
class Place:
    """A place in the masthead; the count stands beside it only where work waits. `key` leads there from any page."""

    label: Words
    url_name: str
    order: int
    act: Act
    count: Callable[[HttpRequest], int] | None = None
    key: str = ""


# Returns sentences that every page must show, such as a failsafe that did not run.
Notice = Callable[[HttpRequest], list[str]]


PLACES: dict[str, Place] = {}


NOTICES: dict[str, Notice] = {}


def add_place(place: Place) -> None:
    PLACES[place.url_name] = place


def add_notice(key: str, notice: Notice) -> None:
    NOTICES[key] = notice


def notices_for(request: HttpRequest) -> list[str]:
    return [sentence for notice in NOTICES.values() for sentence in notice(request)]


def places_for(request: HttpRequest) -> list[Place]:
    return [
        place
        for place in sorted(PLACES.values(), key=lambda place: place.order)
        if may(request.user, place.act)
    ]


def standstill_notice(request: HttpRequest) -> list[str]:
    """Say on every page which worker, scheduler, kind of work or daily chore stands still."""
    words = jobs.activities()
    still = heartbeat.standing_still(list(words))
    said = [_("%(activity)s stands still.") % {"activity": words[name]} for name in still if name in words]
    # One of the two: without a worker the scheduler's signs stop as well, and two notices would name two faults.
    if "worker" in still:
        said.append(
            _("The background worker gives no sign of life: nothing is measured, planned or counted.")
        )
    elif "beat" in still:
        said.append(_("The scheduler gives no sign of life: no daily list and no count will be made."))
    failing = jobs.failing_chores()
    if failing:
        said.append(_("A daily task failed and is tried again: %(names)s.") % {"names": ", ".join(failing)})
    return [" ".join([*said, _("Tell whoever runs this installation.")])] if said else []


add_notice("standstill", standstill_notice)
add_place(Place(gettext_lazy("Patients"), "clinic:patients", 20, Act.SEE_PATIENTS))
add_place(Place(gettext_lazy("Staff"), "clinic:staff", 90, Act.MANAGE_STAFF))
