"""In which part of the day somebody is rung: after a call in the morning the next is in the afternoon (the ladder)."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Final

from django.utils import timezone

from clinic import clock
from clinic.models import RouteKind
from scheduling.models import PartOfDay

_NOON: Final = 12
_OTHER: Final = {PartOfDay.MORNING: PartOfDay.AFTERNOON, PartOfDay.AFTERNOON: PartOfDay.MORNING}


def part_of(moment: datetime) -> PartOfDay:
    return PartOfDay.MORNING if timezone.localtime(moment).hour < _NOON else PartOfDay.AFTERNOON


def next_part(attempts: Iterable[Mapping[str, Any]], times_of_day: int) -> PartOfDay:
    """Give the part of the day that no call was made in yet, where the ladder asks for as many; else any time."""
    tried = {part_of(one["at"]) for one in attempts if one["route"] == RouteKind.PHONE}
    if len(tried) != 1 or times_of_day < len(_OTHER):
        return PartOfDay.ANY
    return _OTHER[tried.pop()]


def in_turn() -> tuple[str, ...]:
    """Give the order in which people are rung now: urgent first, whose part of the day it is, then by last day."""
    morning = part_of(clock.now()) == PartOfDay.MORNING
    return "urgency", "part" if morning else "-part", "ends_on", "pk"
