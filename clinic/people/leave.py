"""Who is away on which days, and who stands in: no list is left to somebody who is not there."""

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import ACTS, Act, may, require, roles_with
from clinic.models import Leave, Member, change
from clinic.trail import audit
from clinic.wording import write_day

# A year, a leap year too; who is away for longer has no work here for which somebody stands in.
LONGEST_DAYS = 366


Watcher = Callable[[Leave, Member], None]
_NOTED: list[Watcher] = []
_WITHDRAWN: list[Watcher] = []


def register_watchers(*, noted: Watcher, withdrawn: Watcher) -> None:
    """Have an upper app act in the same transaction: what was to be done with somebody who is away is owed."""
    _NOTED.append(noted)
    _WITHDRAWN.append(withdrawn)


class LeaveRefused(ValueError):
    """Raised where a leave cannot be noted; the text is the sentence for the page."""


class LeavesNobody(LeaveRefused):
    """Raised where nobody would sign decisions on some of the days; noted all the same if somebody says so."""


def in_force() -> QuerySet[Leave]:
    return Leave.objects.filter(withdrawn_by__isnull=True)


def away(on: date) -> QuerySet[Leave]:
    """Find the leaves of whoever is away on a day."""
    return in_force().filter(first_day__lte=on, last_day__gte=on)


def at_work(act: Act, on: date) -> QuerySet[Member]:
    """Find everybody with an account in use who may do this act and is not away on that day."""
    return _who_may(act).exclude(pk__in=away(on).values("member"))


def _who_may(act: Act) -> QuerySet[Member]:
    return Member.objects.filter(is_active=True, role__in=roles_with(act))


def to_come() -> QuerySet[Leave]:
    """Find the leaves of today and later, the next first."""
    rows = in_force().filter(last_day__gte=clock.today())
    return rows.select_related("member", "deputy").order_by("first_day", "pk")


@transaction.atomic
def note(
    *,
    member: Member,
    by: Member,
    first_day: date,
    last_day: date,
    deputy: Member | None = None,
    all_the_same: bool = False,
) -> Leave:
    """Note a leave: one's own, or anybody's by whoever manages accounts. Raises LeaveRefused."""
    if member.pk != by.pk:
        require(by, Act.MANAGE_STAFF)
    _check_days(member, first_day, last_day)
    if deputy:
        _check_deputy(member, deputy, first_day, last_day)
    unread = _days_without_reader(member, first_day, last_day)
    if unread and not all_the_same:
        raise LeavesNobody(_leaves_nobody(unread))
    days = {"first_day": first_day, "last_day": last_day}
    now = clock.now()
    row = Leave.objects.create(
        member=member, deputy=deputy, noted_by=by, noted_at=now, changed_at=now, **days
    )
    audit.record("staff.leave", by=by, subject=row, days_unread=len(unread), **_said(row))
    for watcher in _NOTED:
        watcher(row, by)
    return row


def _said(row: Leave) -> dict[str, Any]:
    days = {"first_day": str(row.first_day), "last_day": str(row.last_day)}
    return {"member": row.member_id, "deputy": row.deputy_id, **days}


@transaction.atomic
def withdraw(*, leave: Leave, by: Member, revision: int) -> None:
    """Take a leave back; whoever comes back earlier notes the days that were. Raises StaleRow."""
    if leave.member_id != by.pk:
        require(by, Act.MANAGE_STAFF)
    change(leave, seen=revision, at=clock.now(), where={"withdrawn_by": None}, withdrawn_by=by)
    audit.record("staff.withdraw_leave", by=by, subject=leave, member=leave.member_id)
    for watcher in _WITHDRAWN:
        watcher(leave, by)


def _check_days(member: Member, first_day: date, last_day: date) -> None:
    if last_day < first_day:
        raise LeaveRefused(_("The last day lies before the first."))
    if last_day < clock.today():
        raise LeaveRefused(_("These days are over."))
    if (last_day - first_day).days >= LONGEST_DAYS:
        raise LeaveRefused(_("Longer than a year: close the account instead."))
    if _near(first_day, last_day).filter(member=member).exists():
        raise LeaveRefused(_("%(name)s is away on some of these days already.") % {"name": member})


def _near(first_day: date, last_day: date) -> QuerySet[Leave]:
    return in_force().filter(first_day__lte=last_day, last_day__gte=first_day)


def _check_deputy(member: Member, deputy: Member, first_day: date, last_day: date) -> None:
    if deputy.pk == member.pk:
        raise LeaveRefused(_("Nobody stands in for themselves."))
    # Every right of whoever is away: a nurse who stands in for a dermatologist could sign nothing that waits.
    if not deputy.is_active or not ACTS[member.role] <= ACTS[deputy.role]:
        raise LeaveRefused(_("%(name)s may not do what %(whose)s does.") % {"name": deputy, "whose": member})
    clash = _near(first_day, last_day).filter(member=deputy).first()
    if clash:
        said = {"name": deputy, "first": write_day(clash.first_day), "last": write_day(clash.last_day)}
        raise LeaveRefused(_("%(name)s is away from %(first)s to %(last)s.") % said)


def _days_without_reader(member: Member, first_day: date, last_day: date) -> list[date]:
    """List the days on which nobody else would sign decisions, where this member signs them."""
    if not may(member, Act.SIGN_OFF):
        return []
    others = set(_who_may(Act.SIGN_OFF).exclude(pk=member.pk).values_list("pk", flat=True))
    # Asked once for all days: a leave of a year would else be as many questions as it has days.
    gone = list(_near(first_day, last_day).filter(member__in=others))
    days = (first_day + timedelta(days=n) for n in range((last_day - first_day).days + 1))
    return [day for day in days if others <= {row.member_id for row in gone if _covers(row, day)}]


def _covers(row: Leave, day: date) -> bool:
    return row.first_day <= day <= row.last_day


def _leaves_nobody(unread: list[date]) -> str:
    said = {"first": write_day(unread[0]), "last": write_day(unread[-1])}
    where = _("Nobody would read the decisions on days between %(first)s and %(last)s.") % said
    return (
        where + " " + _("Ask a colleague to stay, or tick that it is noted all the same: every page says so.")
    )


def stand_ins(members: Iterable[Member], on: date) -> dict[int, str]:
    """Say of each who is not there until when, and who stands in; of the others nothing."""
    named = {member.pk: member for member in members}
    if not named:
        return {}
    said = {key: _("works here no more") for key, member in named.items() if not member.is_active}
    rows = away(on).filter(member__in=named).select_related("deputy")
    return said | {row.member_id: _absence(row) for row in rows}


def _absence(row: Leave) -> str:
    said = {"day": write_day(row.last_day), "deputy": row.deputy}
    if row.deputy is None:
        return _("away until %(day)s") % said
    return _("away until %(day)s: %(deputy)s stands in") % said
