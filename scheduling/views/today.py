from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, allow, may
from clinic.charts.year_strip import Strip
from clinic.duties import proposals
from clinic.duties.kinds import OwningList
from clinic.models import ContactRoute, Member, StaleRow
from clinic.pages import duty_rows
from clinic.pages.responses import conflict
from scheduling.desk import bookable, what_next, worklists
from scheduling.models import (
    Appointment,
    AppointmentState,
    ContactAttempt,
    ItemState,
    Recall,
    WorkItem,
)
from scheduling.planning import ladder
from scheduling.recalls import overrides, whereabouts, wording
from scheduling.recalls.missed import tried

ROOM_DAYS = 14


@dataclass(frozen=True)
class Row:
    """One line of the list: an item or an appointment, its recall, and what staff must know before they act."""

    thing: Any
    recall: Recall | None
    what: str
    notes: list[str]
    strip: Strip | None
    mine: bool = False


@allow(Act.SEE_WORKLIST)
def today(request: HttpRequest) -> HttpResponse:
    day = clock.today()
    items = list(worklists.items_of(day))
    waiting = list(without_outcome())
    recalls = [item.recall for item in items] + [row for visit in waiting for row in visit.recalls.all()]
    know = _RowFacts(recalls, day)
    rows = [know.row(item, item.recall, request.user) for item in items]
    context = {
        "rows": rows,
        "outcomes": [know.appointment(visit) for visit in waiting],
        "people": len({item.recall.patient_id for item in items}),
        "oldest": min((wording.waits_since(item.recall) for item in items), default=None),
        "with_others": _with_others(items, request.user),
        "ledger": _ledger(day, request.user),
        "room": _room(day),
        "count": whereabouts.last_count(),
        "unlisted": not items and worklists.to_reach(day).exclude(work_items__day=day).count(),
        "may_call": may(request.user, Act.CONTACT),
        "may_book": may(request.user, Act.BOOK),
        "duties": duty_rows.page_of_list(OwningList.TODAY, request),
        "answered": duty_rows.proposal_rows(proposals.unread_answers(request.user), request),
    }
    return render(request, "scheduling/today.html", context)


def without_outcome() -> Any:
    """Find appointments that have begun and of which nobody has said how they ended."""
    begun = Appointment.objects.filter(state=AppointmentState.BOOKED, starts_at__lte=clock.now())
    return begun.select_related("patient", "resource").prefetch_related("recalls").order_by("starts_at", "pk")


class _RowFacts:
    """What the rows of one page need, gathered once for all of them."""

    def __init__(self, recalls: list[Recall], day: date) -> None:
        self.day = day
        self.places = wording.subjects(recalls)
        people = {row.patient_id for row in recalls}
        self.visits = wording.visit_days(people, day - timedelta(days=400))
        self.attempts: dict[int, list[ContactAttempt]] = {}
        made = ContactAttempt.objects.filter(recall__in=recalls, struck__isnull=True)
        for attempt in made.order_by("at", "pk"):
            self.attempts.setdefault(attempt.recall_id, []).append(attempt)
        live = ContactRoute.objects.filter(patient__in=people, dead_since__isnull=True)
        self.reachable = set(live.values_list("patient_id", flat=True))
        self.why_next = wording.why_the_next(recalls)
        self.asked = what_next.said_about(people)

    def row(self, item: WorkItem, recall: Recall, member: Any) -> Row:
        strip = wording.strip_of(recall, self.visits[recall.patient_id], self.day)
        mine = item.claimed_by_id == member.pk
        return Row(item, recall, wording.what_for(recall, self.places), self.notes(recall), strip, mine)

    def appointment(self, visit: Appointment) -> Row:
        rows = list(visit.recalls.all())
        what = "; ".join(wording.what_for(row, self.places) for row in rows)
        strip = wording.strip_of(rows[0], self.visits[visit.patient_id], self.day) if rows else None
        return Row(visit, rows[0] if rows else None, what, [], strip)

    def notes(self, recall: Recall) -> list[str]:
        counted = [attempt for attempt in self.attempts.get(recall.pk, []) if attempt.counts]
        of = ladder.ladder_of(recall.urgency).attempts
        made = f"{tried(counted)}, {len(counted)} of {of} attempts" if counted else "no attempt yet"
        notes = [wording.how_near(recall, self.day), made]
        if counted:
            last = timezone.localtime(counted[-1].at)
            notes.append(
                f"last {last:%a} {last.day} {last:%b} {last:%H:%M}, {counted[-1].get_outcome_display()}"
            )
        if recall.rule.startswith(overrides.RULE):
            notes.append(recall.reasons[0]["source"])
        notes += map(wording.answer_of, self.asked.get((recall.patient_id, recall.subject), [])[-1:])
        if recall.pk in self.why_next:
            notes.append(self.why_next[recall.pk])
        if recall.reopened:
            notes.append(f"re-opened {recall.reopened} time{'s' if recall.reopened > 1 else ''}")
        if recall.proposed_ground:
            notes.append("closing is proposed")
        if recall.patient_id not in self.reachable:
            notes.append("no number or address that works: find the patient")
        return notes


def _with_others(items: list[WorkItem], member: Any) -> list[tuple[Member, int]]:
    others = [item.claimed_by for item in items if item.claimed_by_id not in (None, member.pk)]
    return Counter(others).most_common()


def _ledger(day: date, member: Any) -> list[tuple[str, int]]:
    states = list(WorkItem.objects.filter(day=day).values_list("state", "claimed_by_id", "recall__state"))
    return [
        ("to reach", sum(state != ItemState.DONE and of == "due" for state, _, of in states)),
        ("settled today", sum(state == ItemState.DONE for state, _, _ in states)),
        ("yours", sum(state == ItemState.CLAIMED and by == member.pk for state, by, _ in states)),
        ("handed back", sum(state == ItemState.HANDED_BACK for state, _, _ in states)),
    ]


def _room(day: date) -> list[tuple[date, int]]:
    """Count the bookable places left on each day of the fortnight that has any hours."""
    slots = bookable.free_slots(since=day, until=day + timedelta(days=ROOM_DAYS), limit=1000)
    return sorted(Counter(timezone.localdate(slot.starts_at) for slot in slots).items())


@allow(Act.CONTACT)
@require_POST
def claim(request: HttpRequest, item: int) -> HttpResponse:
    found = get_object_or_404(WorkItem.objects.select_related("recall__patient"), pk=item)
    try:
        worklists.claim(item=found, by=request.user)
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:today"))
    return redirect("scheduling:recall", found.recall_id)


@allow(Act.CONTACT)
@require_POST
def hand_back(request: HttpRequest, item: int) -> HttpResponse:
    found = get_object_or_404(WorkItem.objects.select_related("recall__patient"), pk=item)
    try:
        worklists.hand_back(item=found, by=request.user)
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:today"))
    messages.success(request, f"{found.recall.patient} is free for anybody again.")
    return redirect("scheduling:today")
