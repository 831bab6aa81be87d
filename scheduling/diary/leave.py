"""Enter a clinician's leave: those sessions have no places, and what is booked in them is rebooked."""

from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, change
from clinic.trail import audit
from scheduling.desk.bookable import BookingRefused
from scheduling.models import Leave
from scheduling.planning import rebook


@transaction.atomic
def enter(*, member: Member, first_day: date, last_day: date, by: Member) -> Leave:
    require(by, Act.ENTER_LEAVE)
    if last_day < first_day or last_day < clock.today():
        raise BookingRefused(_("Leave ends after it begins, and not before today."))
    same = {"member": member, "ended": False, "first_day__lte": last_day, "last_day__gte": first_day}
    if Leave.objects.filter(**same).exists():
        raise BookingRefused(_("%(who)s is away on some of these days already.") % {"who": member})
    row = Leave.objects.create(member=member, first_day=first_day, last_day=last_day, changed_at=clock.now())
    days: dict[str, Any] = {"first_day": str(first_day), "last_day": str(last_day)}
    audit.record("diary.leave", by=by, subject=row, who=str(member), **days)
    rebook.rebook_of_leave(row, by)
    return row


@transaction.atomic
def take_back(*, leave: Leave, by: Member, revision: int) -> Leave:
    """Say that somebody is there after all: the sessions have their places again."""
    require(by, Act.ENTER_LEAVE)
    change(leave, seen=revision, at=clock.now(), where={"ended": False}, ended=True)
    audit.record("diary.leave_end", by=by, subject=leave, who=str(leave.member))
    rebook.there_after_all(leave, by)
    return leave
