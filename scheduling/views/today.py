from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.charts.year_strip import Strip
from clinic.duties import proposals
from clinic.duties.kinds import OwningList
from clinic.models import ContactRoute, StaleRow
from clinic.pages import duty_rows
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import conflict
from clinic.wording import write_day
from scheduling.counting import whereabouts
from scheduling.desk import bookable, day_tally, what_next, worklists
from scheduling.models import (
    Appointment,
    AppointmentState,
    ContactAttempt,
    Recall,
    WorkItem,
)
from scheduling.planning import ladder
from scheduling.planning.wording import OWN, source_words
from scheduling.recalls import wording
from scheduling.recalls.missed import tried

ROOM_DAYS = 14
UNSAID = 10  # appointments without an outcome on one page, so that the calls stand near
LEDGER = {
    "to_reach": gettext_lazy("to reach"),
    "settled": gettext_lazy("settled today"),
    "yours": gettext_lazy("yours"),
    "handed_back": gettext_lazy("handed back"),
}


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
def today(request: StaffRequest) -> HttpResponse:
    day = clock.today()
    left, ledger = day_tally.left_to_do(day), day_tally.ledger(day, request.user)
    page = page_of_rows(worklists.items_of(day), request, count=left.items)
    unsaid = page_of_rows(without_outcome(), request, "outcomes", size=UNSAID)
    items, waiting = list(page.object_list), list(unsaid.object_list)
    answers = page_of_rows(proposals.unread_answers(request.user), request, "answers")
    # What a row says is asked for the rows of these pages only, however long the lists are.
    know = _RowFacts(
        [item.recall for item in items] + [row for visit in waiting for row in visit.recalls.all()], day
    )
    context = {
        "page": page,
        "rows": [know.row(item, item.recall, request.user) for item in items],
        "unsaid": unsaid,
        "outcomes": [know.appointment(visit) for visit in waiting],
        "people": left.people,
        "oldest": left.oldest,
        "with_others": day_tally.with_others(day, request.user),
        "ledger": [(LEDGER[code], number) for code, number in ledger.items()],
        "yours": ledger["yours"],
        "room": _room(day),
        "count": whereabouts.last_count(),
        "unlisted": not left.items and worklists.to_reach(day).exclude(work_items__day=day).count(),
        "may_call": may(request.user, Act.CONTACT),
        "may_book": may(request.user, Act.BOOK),
        "duties": duty_rows.page_of_list(OwningList.TODAY, request),
        "answered": duty_rows.proposal_rows(answers.object_list, request),
        "answers": answers,
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
        made = _("no attempt yet")
        if counted:
            made = ngettext(
                "%(tried)s, %(made)s of %(all)s attempt", "%(tried)s, %(made)s of %(all)s attempts", of
            ) % {"tried": tried(counted), "made": len(counted), "all": of}
        notes = [wording.how_near(recall, self.day), made]
        if counted:
            notes.append(_last_words(counted[-1]))
        if recall.rule.startswith(OWN):
            notes.append(source_words(recall.reasons[0]))
        notes += map(wording.answer_of, self.asked.get((recall.patient_id, recall.subject), [])[-1:])
        if recall.pk in self.why_next:
            notes.append(self.why_next[recall.pk])
        if recall.reopened:
            again = ngettext("re-opened %(count)s time", "re-opened %(count)s times", recall.reopened)
            notes.append(again % {"count": recall.reopened})
        if recall.proposed_ground:
            notes.append(_("closing is proposed"))
        if recall.patient_id not in self.reachable:
            notes.append(_("no number or address that works: find the patient"))
        return notes


def _last_words(attempt: ContactAttempt) -> str:
    at = timezone.localtime(attempt.at)
    return _("last %(day)s, %(time)s, %(outcome)s") % {
        "day": write_day(at.date()),
        "time": f"{at:%H:%M}",
        "outcome": attempt.get_outcome_display(),
    }


def _room(day: date) -> list[tuple[date, int]]:
    """Count the bookable places left on each day of the fortnight that has any hours."""
    slots = bookable.free_slots(since=day, until=day + timedelta(days=ROOM_DAYS), limit=1000)
    return sorted(Counter(timezone.localdate(slot.starts_at) for slot in slots).items())


@allow(Act.CONTACT)
@require_POST
def claim(request: StaffRequest, item: int) -> HttpResponse:
    found = get_object_or_404(WorkItem.objects.select_related("recall__patient"), pk=item)
    try:
        worklists.claim(item=found, by=request.user)
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:today"))
    return redirect("scheduling:recall", found.recall_id)


@allow(Act.CONTACT)
@require_POST
def hand_back(request: StaffRequest, item: int) -> HttpResponse:
    found = get_object_or_404(WorkItem.objects.select_related("recall__patient"), pk=item)
    try:
        worklists.hand_back(item=found, by=request.user)
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:today"))
    messages.success(request, _("%(who)s is free for anybody again.") % {"who": found.recall.patient})
    return redirect("scheduling:today")
