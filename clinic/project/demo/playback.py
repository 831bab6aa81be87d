"""Play the histories in the order of time, a day and a patient at a time."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any

from clinic import clock
from clinic.project.demo import acts, desk
from clinic.project.demo import events as e
from clinic.project.demo.acts import DemoClinic, Part
from clinic.project.demo.calendar import Calendar, moment

ACTS: Mapping[type, Callable[[DemoClinic, Part, Any], None]] = {
    e.Risk: acts.assess_risk,
    e.Seen: acts.see,
    e.Mole: acts.add_mole,
    e.Shot: acts.photograph,
    e.Refused: acts.refuse,
    e.Noted: acts.note_sign,
    e.Decided: acts.decide,
    e.Cut: acts.cut,
    e.Reported: acts.report,
    e.Told: acts.tell,
    e.CareEnds: acts.end_care,
    e.Called: desk.call,
    e.Booked: desk.book,
    e.Ended: desk.end,
    e.Spaced: desk.set_interval,
    e.Listed: desk.fill_checklist,
}
MINUTES_EACH, MORNING, EVENING = 4, 9, 17


@dataclass(frozen=True)
class Scene:
    """What happens to one patient on one day."""

    day: date
    part: Part
    events: tuple[e.Event, ...]


def play(demo: DemoClinic, parts: list[Part], histories: Mapping[str, tuple[e.Event, ...]]) -> None:
    """Play all histories; pictures up to yesterday are measured, those of today are left to the worker."""
    scenes = in_order(demo, parts, histories)
    today = demo.calendar.today
    # In two parts, because a measure of yesterday must stand before somebody decides on it today.
    _play_days(demo, [scene for scene in scenes if scene.day < today])
    acts.measure_queued(demo)
    _play_days(demo, [scene for scene in scenes if scene.day == today])


def in_order(
    demo: DemoClinic, parts: list[Part], histories: Mapping[str, tuple[e.Event, ...]]
) -> list[Scene]:
    """Scenes by day, then in the order of the people; the table's order holds within a scene."""
    found: dict[tuple[date, int], list[e.Event]] = {}
    for part in parts:
        for event in histories[part.person.key]:
            found.setdefault((day_of(demo.calendar, event), part.number), []).append(event)
    by_number = {part.number: part for part in parts}
    return [
        Scene(day, by_number[number], tuple(rows))
        for (day, number), rows in sorted(found.items(), key=itemgetter(0))
    ]


def day_of(calendar: Calendar, event: e.Event) -> date:
    return calendar.working_day(event.on) if isinstance(event, e.Ended) else calendar.day(event.ago)


def hour_of(event: e.Event) -> int:
    """Say at which hour an event happens: an appointment's end in the evening, calls at an hour of their own."""
    return EVENING if isinstance(event, e.Ended) else getattr(event, "hour", MORNING)


def _play_days(demo: DemoClinic, scenes: list[Scene]) -> None:
    for day, todays in groupby(scenes, key=lambda scene: scene.day):
        minutes = 0
        for scene in todays:
            minutes = _play(demo, scene, day, minutes)


def _play(demo: DemoClinic, scene: Scene, day: date, minutes: int) -> int:
    """Return the minutes after nine at which the scene ends."""
    if not scene.part.is_registered:
        with clock.at(moment(day, minutes)):
            acts.register_patient(demo, scene.part)
    for event in scene.events:
        minutes += MINUTES_EACH
        with clock.at(moment(day, minutes, hour_of(event))):
            _play_one(demo, scene.part, event)
    with clock.at(moment(day, minutes)):
        desk.plan(scene.part)
    return minutes


def _play_one(demo: DemoClinic, part: Part, event: e.Event) -> None:
    # A call and a booking need a recall that is open, and a plan opens it.
    if isinstance(event, e.Called | e.Booked):
        desk.plan(part)
    ACTS[type(event)](demo, part, event)
