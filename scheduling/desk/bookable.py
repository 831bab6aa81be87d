"""Open bookable hours, close days, and find what is free of them."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db import transaction
from django.utils import timezone

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member
from clinic.trail import audit
from scheduling.models import BookedCell, ClosureDay, Resource, Session
from scheduling.planning import rebook

CELL = timedelta(minutes=5)


class BookingRefused(ValueError):
    """Raised where something cannot be booked or changed so; the text is the sentence for the page."""


@dataclass(frozen=True)
class Slot:
    resource: Resource
    starts_at: datetime
    minutes: int


@transaction.atomic
def open_session(
    *, resource: Resource, day: date, opens: time, closes: time, by: Member, slot_minutes: int = 20
) -> Session:
    """Open bookable hours of a room or a person on one local day."""
    require(by, Act.BOOK)
    if opens >= closes:
        raise BookingRefused("The hours end after they begin.")
    if slot_minutes % 5 or not 5 <= slot_minutes <= 240 or opens.minute % 5:
        raise BookingRefused("Slots are whole steps of five minutes, 5 to 240 long.")
    if resource.sessions.filter(day=day, opens__lt=closes, closes__gt=opens).exists():
        raise BookingRefused("These hours overlap others of the same day.")
    row = Session.objects.create(
        resource=resource, day=day, opens=opens, closes=closes, slot_minutes=slot_minutes
    )
    hours = f"{opens:%H:%M} to {closes:%H:%M}"
    audit.record("diary.session", by=by, subject=row, resource=resource.name, day=str(day), hours=hours)
    return row


@transaction.atomic
def close_day(*, day: date, reason: str, by: Member) -> ClosureDay:
    """Close a day: nothing more can be booked, and each booking of it is owed until it is moved; due dates stay."""
    require(by, Act.BOOK)
    row, made = ClosureDay.objects.get_or_create(day=day, defaults={"reason": reason})
    if not made:
        raise BookingRefused(f"The clinic is closed on this day already: {row.reason}.")
    audit.record("diary.close", by=by, subject=row, day=str(day), reason=reason)
    rebook.rebook_of_day(row, by)
    return row


def free_slots(*, since: date, until: date, minutes: int = 20, limit: int = 12) -> list[Slot]:
    """Find the first free slots from now on between two local days, closure days left out."""
    sessions = _open_sessions(since, until)
    taken = _taken(since, until) if sessions else set()
    found: list[Slot] = []
    for day in sorted({row.day for row in sessions}):
        of_day = [slot for row in sessions if row.day == day for slot in _slots(row, minutes, taken)]
        found += sorted(of_day, key=lambda slot: (slot.starts_at, slot.resource.name))
        if len(found) >= limit:
            break
    return found[:limit]


def free_places(*, since: date, until: date) -> dict[date, int]:
    """Count for each local day with bookable hours the slots that are still free from now on, 0 among them."""
    sessions, taken = _open_sessions(since, until), _taken(since, until)
    places: dict[date, int] = {}
    for row in sessions:
        places[row.day] = places.get(row.day, 0) + sum(1 for _ in _slots(row, row.slot_minutes, taken))
    return places


def _open_sessions(since: date, until: date) -> list[Session]:
    closed = set(ClosureDay.objects.filter(day__range=(since, until)).values_list("day", flat=True))
    open_hours = Session.objects.filter(day__range=(since, until), resource__active=True)
    return [row for row in open_hours.select_related("resource") if row.day not in closed]


def _slots(session: Session, minutes: int, taken: set[tuple[int, datetime]]) -> Iterator[Slot]:
    start, closes = _local(session.day, session.opens), _local(session.day, session.closes)
    while start + timedelta(minutes=minutes) <= closes:
        free = not any((session.resource_id, cell) in taken for cell in cells(start, minutes))
        if free and start > clock.now():
            yield Slot(session.resource, start, minutes)
        start += timedelta(minutes=session.slot_minutes)


def _taken(since: date, until: date) -> set[tuple[int, datetime]]:
    first, last = _local(since, time()), _local(until + timedelta(days=1), time())
    return set(
        BookedCell.objects.filter(starts_at__gte=first, starts_at__lt=last).values_list(
            "resource_id", "starts_at"
        )
    )


def _local(day: date, at: time) -> datetime:
    """Turn local day and time into UTC, so that adding minutes is right on the days when the clock changes."""
    local = timezone.make_aware(datetime.combine(day, at))
    return local.astimezone(timezone.get_fixed_timezone(0))


def cells(starts_at: datetime, minutes: int) -> list[datetime]:
    return [starts_at + CELL * index for index in range(-(-minutes // 5))]


def check_hours(resource: Resource, starts_at: datetime, minutes: int) -> None:
    local = timezone.localtime(starts_at)
    ends = timezone.localtime(starts_at + timedelta(minutes=minutes))
    if starts_at < clock.now():
        raise BookingRefused("An appointment lies ahead.")
    if local.minute % 5 or local.second or local.microsecond or not 5 <= minutes <= 240:
        raise BookingRefused("An appointment begins on a step of five minutes and lasts 5 to 240 minutes.")
    if ClosureDay.objects.filter(day=local.date()).exists():
        raise BookingRefused("The clinic is closed on this day.")
    hours = resource.sessions.filter(day=local.date(), opens__lte=local.time(), closes__gte=ends.time())
    if not resource.active or ends.date() != local.date() or not hours.exists():
        raise BookingRefused("There are no bookable hours at this time.")
