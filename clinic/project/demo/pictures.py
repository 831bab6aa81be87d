"""Draw the pictures of the demo, one for each `Shot`, by the phantom of the image core; nobody's skin."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from clinic.project.demo.events import Event, Mole, Person, Shot
from lesions.analysis.drawing import phantom
from lesions.analysis.drawing.phantom import Phantom

# What a lesion looks like; the rest is the phantom's own.
KINDS: Mapping[str, Mapping[str, Any]] = {
    "plain": {"axes_mm": (4.4, 3.7), "irregularity": 0.1, "hair": 0.15},
    "mottled": {
        "axes_mm": (4.6, 3.9),
        "irregularity": 0.1,
        "hair": 0.15,
        "colours": ("light_brown", "dark_brown"),
    },
    "irregular": {
        "axes_mm": (6.6, 5.0),
        "irregularity": 0.8,
        "colours": ("light_brown", "dark_brown", "blue_grey"),
    },
    "large": {
        "axes_mm": (8.4, 6.6),
        "irregularity": 0.7,
        "colours": ("dark_brown", "black", "blue_grey"),
        "mm_per_px": 0.024,
    },
    "cut off": {"axes_mm": (4.6, 3.8), "position": (7.5, 3.0)},
    "pink": {"axes_mm": (5.2, 4.8), "irregularity": 0.15, "pink": True, "network": 0.0},
    "faint": {"axes_mm": (4.8, 4.2), "softness": 0.6, "colours": ("light_brown",), "network": 0.1},
    "hairy": {"axes_mm": (4.6, 3.8), "irregularity": 0.1, "hair": 2.2},
    "dark": {"axes_mm": (5.4, 4.6), "irregularity": 0.4, "colours": ("dark_brown", "black")},
}
# A brown spot on brown skin has a border that can be seen only if it is darker.
DARKER = {"tan", "brown", "dark"}
GROWTH = 1.35
JPEG_QUALITY = 90


@dataclass(frozen=True)
class Picture:
    """What one shot needs: the drawing, and the scale that the ruler in it states."""

    spec: Phantom
    mm_per_px: float | None
    filename: str


def planned(person: Person, history: tuple[Event, ...], width: int) -> dict[Shot, Picture]:
    """Plan the picture of every shot of one person, 4 : 3; a later one shows the same lesion again."""
    moles = {event.key: event for event in history if isinstance(event, Mole)}
    taken: dict[str, int] = {}
    found = {}
    # By time: a history is written lesion by lesion, and the first picture is what the others are drawn from.
    for shot in sorted((event for event in history if isinstance(event, Shot)), key=lambda shot: -shot.ago):
        number = taken[shot.mole] = taken.get(shot.mole, 0) + 1
        spec = _wide(_changed(_first(moles[shot.mole], person, shot), shot, number), width)
        name = f"{person.family_name.lower()}-{shot.mole}-{number}.jpg"
        found[shot] = Picture(spec, spec.mm_per_px if shot.scale else None, name)
    return found


def _first(mole: Mole, person: Person, shot: Shot) -> Phantom:
    brown = "dark_brown" if person.skin in DARKER else "light_brown"
    own = {"seed": mole.seed, "skin_tone": person.skin, "ruler": shot.scale, "colours": (brown,)}
    return Phantom(**{**own, **KINDS[mole.kind]})


def _changed(spec: Phantom, shot: Shot, number: int) -> Phantom:
    if number == 1:
        return spec
    if shot.change == "another":
        # Another lesion under the same name: what a comparison must notice and refuse.
        return replace(spec, seed=spec.seed + 500)
    again = phantom.recaptured(spec, number)
    if shot.change == "grown":
        return phantom.grown(again, GROWTH)
    return phantom.with_new_patch(again) if shot.change == "patch" else again


def _wide(spec: Phantom, width: int) -> Phantom:
    # The lesion keeps its millimetres: fewer pixels show it.
    return replace(spec, width=width, height=width * 3 // 4, mm_per_px=spec.mm_per_px * spec.width / width)


def jpeg(spec: Phantom) -> bytes:
    file = io.BytesIO()
    phantom.draw(spec).image.save(file, "JPEG", quality=JPEG_QUALITY)
    return file.getvalue()
