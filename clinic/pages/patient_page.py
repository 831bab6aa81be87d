"""Registry: upper apps hang sections on the patient page, and places into the masthead.

`clinic` imports nothing above itself; whoever is above registers here when it is ready.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest

from clinic.access import Act, may
from clinic.models import Patient


@dataclass(frozen=True)
class Panel:
    """A section of the patient page: `context` is given patient and request, `template` draws it."""

    key: str
    column: str  # "top", "left", "middle", "right"
    order: int
    act: Act
    template: str
    context: Callable[[Patient, HttpRequest], dict[str, Any]]


@dataclass(frozen=True)
class Place:
    """A place in the masthead; the count stands beside it only where work waits."""

    label: str
    url_name: str
    order: int
    act: Act
    count: Callable[[HttpRequest], int] | None = None


@dataclass(frozen=True)
class Button:
    """An action in the head of the patient page; `url_name` takes the patient's key."""

    label: str
    url_name: str
    order: int
    act: Act


# Returns sentences that every page must show, such as a failsafe that did not run.
Notice = Callable[[HttpRequest], list[str]]

PANELS: dict[str, Panel] = {}
PLACES: dict[str, Place] = {}
BUTTONS: dict[str, Button] = {}
NOTICES: dict[str, Notice] = {}


def add_panel(panel: Panel) -> None:
    PANELS[panel.key] = panel


def add_place(place: Place) -> None:
    PLACES[place.label] = place


def add_button(button: Button) -> None:
    BUTTONS[button.label] = button


# Returns (key, words) of what a visit may be about besides the whole person, such as ("lesion:12", "lesion 3, ...");
# several may name the same one.
SUBJECTS: list[Callable[[Patient], list[tuple[str, str]]]] = []


def subjects_of(patient: Patient) -> list[tuple[str, str]]:
    return list(dict(subject for find in SUBJECTS for subject in find(patient)).items())


# Returns (purpose|subject, words) of what is due now: it stands first where a visit is recorded.
DUE: list[Callable[[Patient], list[tuple[str, str]]]] = []


def due_of(patient: Patient) -> list[tuple[str, str]]:
    return [duty for find in DUE for duty in find(patient)]


def add_notice(key: str, notice: Notice) -> None:
    NOTICES[key] = notice


def notices_for(request: HttpRequest) -> list[str]:
    return [sentence for notice in NOTICES.values() for sentence in notice(request)]


def panels_for(patient: Patient, request: HttpRequest) -> dict[str, list[dict[str, Any]]]:
    """Column → drawn panels, in order, of those that this member may see."""
    columns: dict[str, list[dict[str, Any]]] = {"top": [], "left": [], "middle": [], "right": []}
    for panel in sorted(PANELS.values(), key=lambda panel: panel.order):
        if may(request.user, panel.act):
            columns[panel.column].append(
                {"template": panel.template, "context": panel.context(patient, request)}
            )
    return columns


def places_for(request: HttpRequest) -> list[Place]:
    return [
        place
        for place in sorted(PLACES.values(), key=lambda place: place.order)
        if may(request.user, place.act)
    ]


def buttons_for(request: HttpRequest) -> list[Button]:
    return [
        button
        for button in sorted(BUTTONS.values(), key=lambda button: button.order)
        if may(request.user, button.act)
    ]


add_place(Place("Patients", "clinic:patients", 20, Act.SEE_PATIENTS))
add_place(Place("Staff", "clinic:staff", 90, Act.MANAGE_STAFF))
