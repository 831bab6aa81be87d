"""Build the page of a lesion: other apps register their sections here."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest

from clinic.access import Act, may
from lesions.models import Lesion


@dataclass(frozen=True)
class Section:
    """`context` is given lesion and request; `template` draws it as `section`."""

    key: str
    act: Act
    template: str
    context: Callable[[Lesion, HttpRequest], dict[str, Any]]


SECTIONS: dict[str, Section] = {}


def add_section(section: Section) -> None:
    SECTIONS[section.key] = section


def sections_for(lesion: Lesion, request: HttpRequest) -> list[dict[str, Any]]:
    return [
        {"template": one.template, "context": one.context(lesion, request)}
        for one in SECTIONS.values()
        if may(request.user, one.act)
    ]
