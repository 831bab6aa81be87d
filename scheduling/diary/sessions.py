"""Set sessions that come again, open them for the year ahead, and remove them: what was booked in them is rebooked."""

from collections.abc import Iterable, Iterator
from datetime import date, time, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, change
from clinic.trail import audit
from clinic.wording import write_day
from scheduling.desk import bookable
from scheduling.desk.bookable import BookingRefused
from scheduling.models import (
    Appointment,
    AppointmentState,
    PlaceKind,
    PurposeLength,
    Resource,
    Session,
    SessionTemplate,
)
from scheduling.planning import rebook

# More than a year, so that a yearly check can be booked at the end of the one before it.
HORIZON = timedelta(weeks=54)


@transaction.atomic
def set_template(
    *,
    resource: Resource,
    first_day: date,
    opens: time,
    closes: time,
    by: Member,
    slot_minutes: int = 20,
    kind: str = PlaceKind.VISIT,
    clinician: Member | None = None,
    every_weeks: int = 1,
    last_day: date | None = None,
) -> SessionTemplate:
    """Set hours that come again on the weekday of their first day, and open them for the year ahead."""
    require(by, Act.SET_SESSIONS)
    bookable.check_times(resource, opens, closes, slot_minutes)
    if first_day < clock.today() or (last_day and last_day < first_day):
        raise BookingRefused(_("Sessions begin from today on, and end after they begin."))
    row = SessionTemplate.objects.create(
        resource=resource,
        clinician=clinician,
        first_day=first_day,
        last_day=last_day,
        every_weeks=every_weeks,
        opens=opens,
        closes=closes,
        slot_minutes=slot_minutes,
        kind=kind,
        changed_at=clock.now(),
    )
    # Of the row that was just written; what is refused, the transaction undoes.
    _refuse_overlap(row)
    opened = _open_until(row, clock.today() + HORIZON)
    hours = f"{opens:%H:%M} to {closes:%H:%M}"
    said: dict[str, Any] = {
        "resource": resource.name,
        "first_day": str(first_day),
        "hours": hours,
        "kind": kind,
    }
    audit.record("diary.template", by=by, subject=row, clinician=str(clinician or ""), opened=opened, **said)
    return row


def _refuse_overlap(row: SessionTemplate) -> None:
    days = _days(row, clock.today() + HORIZON)
    other = bookable.overlapping(days, row.resource, row.clinician, row.opens, row.closes).first()
    if other:
        said = _("These hours overlap those of %(room)s on %(day)s.")
        raise BookingRefused(said % {"room": other.resource, "day": write_day(other.day)})


def _days(row: SessionTemplate, until: date) -> Iterator[date]:
    """Give the days that are not opened yet: one that somebody removed since is not opened again."""
    last, day = min(until, row.last_day or until), row.first_day
    while day <= last:
        if row.opened_until is None or day > row.opened_until:
            yield day
        day += timedelta(weeks=row.every_weeks)


def _open_until(row: SessionTemplate, until: date) -> int:
    days = list(_days(row, until))
    taken = bookable.overlapping(days, row.resource, row.clinician, row.opens, row.closes)
    free = sorted(set(days) - set(taken.values_list("day", flat=True)))
    times = {name: getattr(row, name) for name in ("opens", "closes", "slot_minutes", "kind")}
    about = {"resource": row.resource, "clinician": row.clinician, "template": row}
    Session.objects.bulk_create([Session(day=day, **about, **times) for day in free])
    change(row, seen=row.revision, at=clock.now(), opened_until=until)
    return len(free)


def extend(today: date) -> int:
    """Open the sessions of one more day of the year ahead, every morning; where others stand already, none."""
    until, opened = today + HORIZON, 0
    # A transaction each: if one fails, what was opened before it stays open.
    for row in SessionTemplate.objects.filter(opened_until__lt=until).select_related("resource", "clinician"):
        if row.last_day is None or row.last_day > (row.opened_until or today):
            with transaction.atomic():
                opened += _open_until(row, until)
    return opened


@transaction.atomic
def end_template(*, template: SessionTemplate, by: Member, revision: int, last_day: date) -> SessionTemplate:
    """End sessions that come again: those behind the last day are removed, and what is booked in them is owed."""
    require(by, Act.SET_SESSIONS)
    if last_day < clock.today() - timedelta(days=1):
        raise BookingRefused(_("What is past stays as it was: choose yesterday or a later day."))
    # Ended before it began, it keeps its first day, so that the row still says what it was.
    change(template, seen=revision, at=clock.now(), last_day=max(last_day, template.first_day))
    behind = list(template.sessions.filter(day__gt=last_day).select_related("resource"))
    audit.record("diary.template_end", by=by, subject=template, last_day=str(last_day), removed=len(behind))
    _remove(behind, by)
    return template


@transaction.atomic
def remove(*, session: Session, by: Member) -> None:
    """Remove the hours of one day to come; what is booked in them is owed until it is moved."""
    require(by, Act.SET_SESSIONS)
    if session.day < clock.today():
        raise BookingRefused(_("What is past stays as it was."))
    day, opens = str(session.day), f"{session.opens:%H:%M}"
    said: dict[str, Any] = {"resource": session.resource.name, "day": day, "opens": opens}
    audit.record("diary.session_remove", by=by, subject=session, **said)
    _remove([session], by)


def _remove(rows: list[Session], by: Member) -> None:
    visits = [visit for row in rows for visit in _booked_in(row)] if rows else []
    Session.objects.filter(pk__in=[row.pk for row in rows]).delete()
    rebook.rebook_without_hours(visits, by)


def _booked_in(session: Session) -> Iterable[Appointment]:
    """Find what is booked in a session, by the clock of the clinic."""
    rows = Appointment.objects.filter(
        resource=session.resource_id, state=AppointmentState.BOOKED, starts_at__date=session.day
    )
    for visit in rows.select_related("patient"):
        if session.opens <= timezone.localtime(visit.starts_at).time() < session.closes:
            yield visit


@transaction.atomic
def set_length(*, purpose: str, minutes: int, by: Member) -> PurposeLength:
    """Set how long one purpose takes here; what is booked already keeps its length."""
    require(by, Act.SET_SESSIONS)
    if minutes % 5 or not 5 <= minutes <= 240:
        raise BookingRefused(_("A visit lasts whole steps of five minutes, 5 to 240."))
    row, _made = PurposeLength.objects.update_or_create(purpose=purpose, defaults={"minutes": minutes})
    audit.record("diary.length", by=by, subject=row, purpose=purpose, minutes=minutes)
    return row
