"""Build the patient page: each app registers its sections and buttons here.

`clinic` imports nothing above itself; whoever is above registers here when it is ready.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest

from clinic.access import Act, may
from clinic.models import Patient
from clinic.wording import Words


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
class Button:
    """An action in the head of the patient page; `url_name` takes the patient's key."""

    label: Words
    url_name: str
    order: int
    act: Act


PANELS: dict[str, Panel] = {}
BUTTONS: dict[str, Button] = {}


def add_panel(panel: Panel) -> None:
    PANELS[panel.key] = panel


def add_button(button: Button) -> None:
    BUTTONS[button.url_name] = button


# Returns (key, words) of what a visit may be about besides the whole person, such as ("lesion:12", "lesion 3, ...");
# several may name the same one.
SUBJECTS: list[Callable[[Patient], list[tuple[str, str]]]] = []


def subjects_of(patient: Patient) -> list[tuple[str, str]]:
    return list(dict(subject for find in SUBJECTS for subject in find(patient)).items())


# Returns (purpose|subject, words) of what is due now: it stands first where a visit is recorded.
DUE: list[Callable[[Patient], list[tuple[str, str]]]] = []


def due_of(patient: Patient) -> list[tuple[str, str]]:
    return [duty for find in DUE for duty in find(patient)]


def panels_for(patient: Patient, request: HttpRequest) -> dict[str, list[dict[str, Any]]]:
    """Draw the sections that this member may see, in order, by column."""
    columns: dict[str, list[dict[str, Any]]] = {"top": [], "left": [], "middle": [], "right": []}
    for panel in sorted(PANELS.values(), key=lambda panel: panel.order):
        # Asked before the section is made: one that may not be seen also costs no question.
        if may(request.user, panel.act):
            columns[panel.column].append(
                {"template": panel.template, "context": panel.context(patient, request)}
            )
    return columns


def buttons_for(request: HttpRequest) -> list[Button]:
    return [
        button
        for button in sorted(BUTTONS.values(), key=lambda button: button.order)
        if may(request.user, button.act)
    ]
