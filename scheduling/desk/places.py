"""Find free places of any day, room and clinician, for the length of everything that a visit is for.

A year of a large clinic is tens of thousands of places: rows come from the database as plain values, and what is free
is read off one row of five-minute cells for each room. The unique `BookedCell` stays what makes double booking
impossible; the appointments read here are those that hold cells.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.db.models import Exists, Func, IntegerField, OuterRef, Q, QuerySet
from django.utils import timezone

from clinic import clock
from clinic.models import Member
from clinic.people import leave
from scheduling.models import (
    Appointment,
    AppointmentState,
    ClosureDay,
    PlaceKind,
    Resource,
    Session,
)

CELL = 300  # seconds
_HOLDS_NO_CELLS = (AppointmentState.CANCELLED_BY_PATIENT, AppointmentState.CANCELLED_BY_CLINIC)
_LONGEST = timedelta(hours=4)  # of an appointment: one that began before the first day may reach into it
_FIELDS = ("resource_id", "clinician_id", "day", "opens", "closes", "slot_minutes", "kind")


@dataclass(frozen=True)
class Place:
    resource: Resource
    clinician: Member | None
    starts_at: datetime
    minutes: int

    @property
    def where(self) -> str:
        return where(self.resource, self.clinician)

    @property
    def value(self) -> str:
        """Give room and time in one word, as forms send it: 7|2026-06-17T14:00:00+01:00"""
        return f"{self.resource.pk}|{self.at}"

    @property
    def at(self) -> str:
        return timezone.localtime(self.starts_at).isoformat()


@dataclass(frozen=True)
class FreeHours:
    """One session, and the moments at which a visit of the wanted length can begin in it."""

    resource: Resource
    clinician: Member | None
    day: date
    kind: str
    minutes: int
    starts: tuple[int, ...]  # in cells since 1970

    def places(self) -> Iterator[Place]:
        for cell in self.starts:
            at = datetime.fromtimestamp(cell * CELL, UTC)
            yield Place(self.resource, self.clinician, at, self.minutes)


def where(resource: Resource, clinician: Member | None) -> str:
    """Room 2, Dr Voss"""
    return f"{resource}, {clinician}" if clinician else str(resource)


class _Seconds(Func):
    """Seconds since 1970 as a number: nothing is parsed for tens of thousands of rows."""

    output_field = IntegerField()

    def as_sqlite(self, compiler: Any, connection: Any, **more: Any) -> Any:
        return super().as_sql(
            compiler, connection, template="CAST(strftime('%%%%s', %(expressions)s) AS INTEGER)", **more
        )

    def as_postgresql(self, compiler: Any, connection: Any, **more: Any) -> Any:
        return super().as_sql(
            compiler, connection, template="EXTRACT(EPOCH FROM %(expressions)s)::bigint", **more
        )


def free_hours(
    *,
    since: date,
    until: date,
    minutes: int | None = None,
    kind: str = PlaceKind.VISIT,
    room: int | None = None,
    clinician: int | None = None,
) -> list[FreeHours]:
    """Give the open sessions of these local days in order, with what is free in each from now on.

    Without `minutes` a place is as long as its session's own steps. Closed days and a clinician's leave are left out.
    """
    rows = list(open_sessions(since, until, kind, room, clinician).values_list(*_FIELDS))
    rooms = Resource.objects.in_bulk({row[0] for row in rows})
    people = Member.objects.in_bulk({row[1] for row in rows if row[1]})
    return [
        FreeHours(rooms[room_id], people.get(who), day, of_kind, minutes or step, starts)
        for (room_id, who, day, _opens, _closes, step, of_kind), starts in _found(rows, since, until, minutes)
    ]


def _found(
    rows: Sequence[tuple[Any, ...]], since: date, until: date, minutes: int | None = None
) -> Iterator[tuple[tuple[Any, ...], tuple[int, ...]]]:
    """Give each session with the cells at which a visit can begin in it from now on."""
    taken, now = _Taken(since, until), clock.now().timestamp()
    for row in rows:
        room_id, _who, day, opens, closes, step, _kind = row
        first, last = _cell(day, opens), _cell(day, closes)
        yield row, taken.free(room_id, first, last, -(-(minutes or step) // 5), step // 5, now)


def free(*, since: date, until: date, minutes: int, limit: int, **of: Any) -> list[Place]:
    """Give the first free places in the order of time."""
    found: list[Place] = []
    of_days: dict[date, list[Place]] = defaultdict(list)
    for hours in free_hours(since=since, until=until, minutes=minutes, **of):
        of_days[hours.day] += hours.places()
    for day in sorted(of_days):
        found += sorted(of_days[day], key=lambda one: (one.starts_at, one.resource.name))
        if len(found) >= limit:
            break
    return found[:limit]


def count_by_day(*, since: date, until: date) -> dict[date, int]:
    """Count for each local day with bookable hours the places that are still free from now on, 0 among them."""
    return count_ahead(starts_by_day(since=since, until=until))


def starts_by_day(*, since: date, until: date) -> dict[date, tuple[int, ...]]:
    """Find for each local day with bookable hours the cells at which its free places begin."""
    found: dict[date, tuple[int, ...]] = defaultdict(tuple)
    for row, starts in _found(list(open_sessions(since, until).values_list(*_FIELDS)), since, until):
        found[row[2]] += starts
    return dict(found)


def count_ahead(starts: Mapping[date, Sequence[int]]) -> dict[date, int]:
    """Count by day the places that begin from now on: of those found a while ago some have begun meanwhile."""
    now = clock.now().timestamp()
    return {day: sum(cell * CELL > now for cell in cells) for day, cells in starts.items()}


def hours_for(kind: str) -> str:
    """Give the kind of hours to look in: a clinic that keeps none for a procedure does it in any visit's."""
    ahead = Session.objects.filter(kind=kind, day__gte=clock.today(), resource__active=True)
    return kind if kind == PlaceKind.VISIT or ahead.exists() else PlaceKind.VISIT


def open_sessions(
    since: date, until: date, kind: str = "", room: int | None = None, clinician: int | None = None
) -> QuerySet[Session]:
    """Find the sessions of these days that are held: the clinic is open, and who holds them is there."""
    asked = {"kind": kind, "resource": room, "clinician": clinician}
    rows = Session.objects.filter(day__range=(since, until), resource__active=True)
    rows = rows.filter(**{name: value for name, value in asked.items() if value})
    away = leave.in_force().filter(
        member=OuterRef("clinician"),
        first_day__lte=OuterRef("day"),
        last_day__gte=OuterRef("day"),
    )
    closed = ClosureDay.objects.filter(day=OuterRef("day"))
    return rows.filter(~Exists(closed), ~Exists(away)).order_by("day", "opens", "resource__name")


def _cell(day: date, at: time) -> int:
    """Number the five-minute cells since 1970 (UTC), so that a day on which summer time ends has its 25 hours."""
    return int(timezone.make_aware(datetime.combine(day, at)).timestamp()) // CELL


class _Taken:
    """The cells that appointments hold, one row of bytes for each room."""

    def __init__(self, since: date, until: date) -> None:
        self.base = _cell(since, time())
        self.size = _cell(until + timedelta(days=1), time()) - self.base
        self.rooms: dict[int, bytearray] = defaultdict(lambda: bytearray(self.size))
        first, last = (datetime.fromtimestamp((self.base + add) * CELL, UTC) for add in (0, self.size))
        span = Q(starts_at__gt=first - _LONGEST, starts_at__lt=last)
        rows = Appointment.objects.filter(span).exclude(state__in=_HOLDS_NO_CELLS).order_by()
        for room, seconds, minutes in rows.values_list("resource_id", _Seconds("starts_at"), "minutes"):
            self._take(self.rooms[room], seconds // CELL - self.base, -(-minutes // 5))

    def _take(self, cells: bytearray, first: int, count: int) -> None:
        begins, ends = max(0, first), min(self.size, first + count)
        if begins < ends:
            cells[begins:ends] = b"\1" * (ends - begins)

    def free(self, room: int, first: int, last: int, length: int, step: int, now: float) -> tuple[int, ...]:
        """Find the cells of a session at whose steps `length` cells in a row are free and ahead."""
        steps = range(first, last - length + 1, step)
        # Asked before it is read: reading alone would make a row of cells for each empty room.
        if room not in self.rooms:
            return tuple(cell for cell in steps if cell * CELL > now)
        row, base = self.rooms[room].find, self.base
        return tuple(
            cell for cell in steps if row(1, cell - base, cell - base + length) < 0 and cell * CELL > now
        )
