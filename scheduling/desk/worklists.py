"""Build the list of a local day: made once, added to, each item claimed by one person at a time."""

from collections.abc import Iterable
from datetime import date, timedelta

from django.db import transaction
from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet, Subquery
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require, roles_with
from clinic.models import Member, PatientStatus, Proposal, RiskAssessment, StaleRow, Tier, change
from clinic.models.base import NOTHING_SAVED
from clinic.people import ending
from clinic.trail import audit
from scheduling.models import ContactAttempt, ItemState, Recall, RecallState, WorkItem

FREE = (ItemState.OPEN, ItemState.HANDED_BACK)
IDLE_MINUTES = 30
_TIER_ORDER = {Tier.VERY_HIGH: 0, Tier.HIGH: 1, Tier.ABOVE_AVERAGE: 2, Tier.AVERAGE: 3}


class AlreadyClaimed(StaleRow):
    """Raised where somebody else has claimed the item; `row` says who."""

    def __init__(self, row: WorkItem) -> None:
        super().__init__(row)
        self.claimed = row

    def say(self) -> str:
        words = {"recall": self.claimed.recall, "name": self.claimed.claimed_by}
        said = _("Work on %(recall)s was claimed by %(name)s while this page was open.") % words
        return f"{said} {NOTHING_SAVED}"


def to_reach(day: date) -> QuerySet[Recall]:
    """Find recalls that are due and not put off to a later day by an attempt or a next look.

    What the desk put off holds to the last day of the window, even one that was brought forward since.
    """
    last = ContactAttempt.objects.filter(recall=OuterRef("pk"), struck__isnull=True).order_by("-at", "-pk")
    due = Recall.objects.filter(
        state=RecallState.DUE, patient__status=PatientStatus.ACTIVE, patient__merged_into__isnull=True
    )
    due = due.filter(~Exists(_death_proposed()))
    # Only the last attempt puts a call off: an earlier promise no longer counts.
    due = due.annotate(
        again_on=Subquery(last.values("next_on")[:1]), put_off_by=Subquery(last.values("by__role")[:1])
    )
    # On the last day of the window a nurse's promise no longer hides the recall; a dermatologist's does.
    held_no_longer = Q(latest__lte=day) & ~Q(put_off_by__in=roles_with(Act.CLOSE_RECALLS))
    return due.filter(_not_after("next_look_on", day) & (_not_after("again_on", day) | held_no_longer))


def _death_proposed(whose: str = "patient") -> QuerySet[Proposal]:
    """Find patients whose death is proposed: calls and letters stop at once, and go on if it is refused."""
    waits = Proposal.objects.filter(act=ending.ACT, answered_at__isnull=True, patient=OuterRef(whose))
    return waits.filter(fields__status=PatientStatus.DECEASED)


def _not_after(field: str, day: date) -> Q:
    return Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__lte": day})


@transaction.atomic
def build(day: date) -> int:
    """Put everybody who is to be reached on the list of this day, in order; returns how many were added."""
    rows = in_order(list(to_reach(day)))
    listed = {item.recall_id: item for item in WorkItem.objects.filter(day=day)}
    added = [
        WorkItem(day=day, recall=row, position=position, changed_at=clock.now())
        for position, row in enumerate(rows, 1)
        if row.pk not in listed
    ]
    for position, row in enumerate(rows, 1):
        item = listed.get(row.pk)
        if item and item.position != position:
            WorkItem.objects.filter(pk=item.pk).update(position=position)
    # Two builders at once: the unique row of the first one stands.
    WorkItem.objects.bulk_create(added, ignore_conflicts=True)
    return len(added)


def catch_up(patient_ids: Iterable[int], day: date) -> int:
    """Add to today's list who became due in the course of the day."""
    # Building costs a pass over the list, so it is done only where somebody is missing on it.
    missing = to_reach(day).filter(patient__in=patient_ids).exclude(work_items__day=day)
    return build(day) if missing.exists() else 0


def in_order(rows: list[Recall]) -> list[Recall]:
    """Order recalls: by urgency, then days to the end of the window, then risk."""
    latest = RiskAssessment.objects.filter(patient=OuterRef("patient")).order_by("-assessed_on", "-pk")
    tiers = dict(
        Recall.objects.filter(pk__in=[row.pk for row in rows])
        .annotate(tier=Subquery(latest.values("tier")[:1]))
        .values_list("pk", "tier")
    )
    return sorted(rows, key=lambda row: (row.urgency, row.latest, _TIER_ORDER.get(tiers[row.pk], 9), row.pk))


def items_of(day: date) -> QuerySet[WorkItem]:
    """Find what is still to do on this day, with everything a row shows."""
    items = WorkItem.objects.filter(day=day, recall__state=RecallState.DUE).exclude(state=ItemState.DONE)
    items = items.filter(~Exists(_death_proposed("recall__patient")))
    return items.select_related("recall__patient", "recall__policy", "claimed_by")


@transaction.atomic
def claim(*, item: WorkItem, by: Member) -> WorkItem:
    """Claim an item: of two people one gets it. Raises AlreadyClaimed."""
    require(by, Act.CONTACT)
    now = clock.now()
    free = WorkItem.objects.filter(pk=item.pk, state__in=FREE)
    claimed = {"state": ItemState.CLAIMED, "claimed_by": by, "claimed_at": now}
    got = free.update(**claimed, revision=F("revision") + 1, changed_at=now)
    item.refresh_from_db()
    if not got:
        # Claimed twice by one person, as by a double click: that is no conflict.
        if item.state == ItemState.CLAIMED and item.claimed_by_id == by.pk:
            return item
        raise AlreadyClaimed(item) if item.state == ItemState.CLAIMED else StaleRow(item)
    audit.record("work.claim", by=by, subject=item, patient=item.recall.patient)
    return item


@transaction.atomic
def hand_back(*, item: WorkItem, by: Member | None) -> WorkItem:
    """Hand an item back, free for anybody; `by=None` is the program, after an idle half hour."""
    back = {"state": ItemState.HANDED_BACK, "claimed_by": None, "claimed_at": None}
    change(item, seen=item.revision, at=clock.now(), where={"state": ItemState.CLAIMED}, **back)
    audit.record("work.hand_back", by=by, subject=item, patient=item.recall.patient)
    return item


@transaction.atomic
def finish(*, item: WorkItem, by: Member) -> WorkItem:
    not_done = {"state__in": (*FREE, ItemState.CLAIMED)}
    change(item, seen=item.revision, at=clock.now(), where=not_done, state=ItemState.DONE)
    audit.record("work.done", by=by, subject=item, patient=item.recall.patient)
    return item


def finish_for(recalls: Iterable[Recall], *, by: Member) -> None:
    """Mark what was booked or settled as done on today's list, whoever had it."""
    open_items = WorkItem.objects.filter(day=clock.today(), recall__in=list(recalls)).exclude(
        state=ItemState.DONE
    )
    for item in open_items.select_related("recall__patient"):
        finish(item=item, by=by)


def put_back(recalls: Iterable[Recall]) -> None:
    """Put a recall that is due again on today's list again, at its end until the next build."""
    today = clock.today()
    rows = [row for row in recalls if row.state == RecallState.DUE]
    done = WorkItem.objects.filter(day=today, recall__in=rows, state=ItemState.DONE)
    free = {"state": ItemState.OPEN, "claimed_by": None, "claimed_at": None, "changed_at": clock.now()}
    done.update(**free, revision=F("revision") + 1)
    last = WorkItem.objects.filter(day=today).aggregate(Max("position"))["position__max"] or 0
    WorkItem.objects.bulk_create(
        [
            WorkItem(day=today, recall=row, position=last + index, changed_at=clock.now())
            for index, row in enumerate(rows, 1)
        ],
        ignore_conflicts=True,
    )


def idle(minutes: int = IDLE_MINUTES) -> list[int]:
    since = clock.now() - timedelta(minutes=minutes)
    waiting = WorkItem.objects.filter(state=ItemState.CLAIMED, claimed_at__lt=since)
    return list(waiting.values_list("pk", flat=True))


def release(item_id: int, minutes: int = IDLE_MINUTES) -> bool:
    """Hand back one claim that nobody worked on; quiet if that has changed meanwhile."""
    item = WorkItem.objects.select_related("recall__patient").filter(pk=item_id).first()
    if item is None or item.pk not in idle(minutes):
        return False
    try:
        hand_back(item=item, by=None)
    except StaleRow:
        return False
    return True
