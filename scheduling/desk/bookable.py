"""Open bookable hours, close days, and find what is free of them."""

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member
from clinic.trail import audit
from scheduling.desk import places
from scheduling.models import ClosureDay, PlaceKind, Resource, Session, Use, WorkedHoliday
from scheduling.planning import rebook

CELL = timedelta(minutes=5)


class BookingRefused(ValueError):
    """Raised where something cannot be booked or changed so; the text is the sentence for the page."""


@transaction.atomic
def open_session(
    *,
    resource: Resource,
    day: date,
    opens: time,
    closes: time,
    by: Member,
    slot_minutes: int = 20,
    clinician: Member | None = None,
    kind: str = PlaceKind.VISIT,
) -> Session:
    """Open bookable hours of a room, and of whoever sits in it, on one local day."""
    require(by, Act.SET_SESSIONS)
    check_times(resource, opens, closes, slot_minutes)
    if overlapping([day], resource, clinician, opens, closes).exists():
        raise BookingRefused(_("These hours overlap others of the same day."))
    times = {"opens": opens, "closes": closes, "slot_minutes": slot_minutes}
    row = Session.objects.create(resource=resource, clinician=clinician, kind=kind, day=day, **times)
    hours = f"{opens:%H:%M} to {closes:%H:%M}"
    said: dict[str, Any] = {"resource": resource.name, "day": str(day), "hours": hours, "kind": kind}
    audit.record("diary.session", by=by, subject=row, clinician=str(clinician or ""), **said)
    return row


def check_times(resource: Resource, opens: time, closes: time, slot_minutes: int) -> None:
    if resource.use != Use.ROOM:
        raise BookingRefused(_("%(room)s has no hours here.") % {"room": resource})
    if opens >= closes:
        raise BookingRefused(_("The hours end after they begin."))
    # Two places meet only in equal cells of five minutes: places between two steps would be booked twice.
    if slot_minutes % 5 or not 5 <= slot_minutes <= 240 or opens.minute % 5:
        raise BookingRefused(_("Slots are whole steps of five minutes, 5 to 240 long."))


def overlapping(
    days: Iterable[date], resource: Resource, clinician: Member | None, opens: time, closes: time
) -> QuerySet[Session]:
    """Find sessions of these days that would have the same room, or the same person, at the same time."""
    same = Q(resource=resource) | (Q(clinician=clinician) if clinician else Q(pk__in=[]))
    return Session.objects.filter(same, day__in=list(days), opens__lt=closes, closes__gt=opens)


@transaction.atomic
def close_day(*, day: date, reason: str, by: Member) -> ClosureDay:
    """Close a day: nothing more can be booked, and each booking of it is owed until it is moved; due dates stay."""
    require(by, Act.CLOSE_DAYS)
    row, made = ClosureDay.objects.get_or_create(day=day, defaults={"reason": reason})
    if not made:
        raise BookingRefused(_("The clinic is closed on this day already: %(why)s.") % {"why": row.reason})
    audit.record("diary.close", by=by, subject=row, day=str(day), reason=reason)
    rebook.rebook_of_day(row, by)
    return row


@transaction.atomic
def open_day(*, closed: ClosureDay, by: Member) -> None:
    """Open a closed day again, a public holiday for good: what was to be moved because of it is owed no more."""
    require(by, Act.CLOSE_DAYS)
    if closed.day < clock.today():
        raise BookingRefused(_("This day is over."))
    audit.record("diary.reopen", by=by, subject=closed, day=str(closed.day), reason=closed.reason)
    # Otherwise tomorrow's chore would close the day again (`diary/holidays.py`).
    if closed.holiday:
        WorkedHoliday.objects.get_or_create(day=closed.day, defaults={"by": by})
    rebook.open_again(closed, by)


def free_slots(*, since: date, until: date, minutes: int = 20, limit: int = 12) -> list[places.Place]:
    """Find the first free slots from now on between two local days, closure days left out."""
    return places.free(since=since, until=until, minutes=minutes, limit=limit)


def cells(starts_at: datetime, minutes: int) -> list[datetime]:
    return [starts_at + CELL * index for index in range(-(-minutes // 5))]


def check_hours(resource: Resource, starts_at: datetime, minutes: int) -> Session | None:
    """Give the session in which this visit lies, or refuse: past, closed, its clinician away, or no hours.

    A diary that is kept elsewhere has no sessions here, and whoever comes without a place is here already.
    """
    if resource.use == Use.WALK_IN:
        return None
    if not 5 <= minutes <= 240:
        raise BookingRefused(_("An appointment lasts 5 to 240 minutes."))
    if starts_at < clock.now():
        raise BookingRefused(_("An appointment lies ahead."))
    return _session_of(resource, starts_at, minutes) if resource.use == Use.ROOM else None


def _session_of(resource: Resource, starts_at: datetime, minutes: int) -> Session:
    local = timezone.localtime(starts_at)
    ends = timezone.localtime(starts_at + timedelta(minutes=minutes))
    # Two visits meet only in equal cells: one that began between two steps would share its time unseen.
    if local.minute % 5 or local.second or local.microsecond:
        raise BookingRefused(_("An appointment begins on a step of five minutes."))
    if ClosureDay.objects.filter(day=local.date()).exists():
        raise BookingRefused(_("The clinic is closed on this day."))
    held = places.open_sessions(local.date(), local.date(), room=resource.pk)
    hours = held.filter(opens__lte=local.time(), closes__gte=ends.time()).first()
    # By the clock alone a visit that goes on past midnight ends before any closing time.
    if ends.date() != local.date() or hours is None:
        raise BookingRefused(_("There are no bookable hours at this time."))
    return hours
