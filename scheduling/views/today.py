from datetime import date
from functools import partial
from typing import Any

from django.contrib import messages
from django.core.paginator import Page
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.duties import proposals
from clinic.models import Patient, StaleRow
from clinic.pages import duty_rows
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import conflict
from scheduling.call_forms import TodayFilter
from scheduling.desk import claims, places
from scheduling.models import DeskLine, Section
from scheduling.pages.call_page import bring_up_to_date
from scheduling.pages.last_count import last_count
from scheduling.pages.today_rows import CONDUCT, rows_of, weeks
from scheduling.today import day_tally, shown_lines

SHOWN = 25  # people of one section on a page


@allow(Act.SEE_WORKLIST)
def today(request: StaffRequest) -> HttpResponse:
    """Show everybody for whom something is to be done today, in sections, with the sums of the day."""
    bring_up_to_date(request)
    day, kept = clock.today(), partial(duty_rows.kept_answer, request=request)
    wanted = TodayFilter(request.GET, clinicians=kept("clinicians"), spoken=kept("languages"))
    lines = wanted.narrow(DeskLine.objects.all())
    # Of all, whatever the filter shows: a narrowed list must not look like the end of the work.
    everybody = kept("sections")
    tally = day_tally.count_sections(lines) if wanted.narrows else everybody
    later = day_tally.weeks_of_later(lines) if wanted.narrows else kept("weeks_of_later")
    duty_rows.counted_here("people", everybody.people, request)
    yours, with_others = day_tally.held(request.user)
    unread = kept("unread_answers").get(request.user.pk, 0)
    answers = page_of_rows(proposals.unread_answers(request.user), request, "answers", count=unread)
    context = {
        "sections": _sections(request, lines, tally, day),
        "people": everybody.people,
        "shown": tally.people if wanted.narrows else None,
        "oldest": everybody.oldest,
        "filter": wanted,
        "weeks": weeks(later, day),
        "with_others": with_others,
        "yours": yours,
        "tried": kept("tried_today"),
        "room": sorted((of, left) for of, left in places.count_ahead(kept("room")).items() if left),
        "count": last_count(request),
        "stale": not everybody.is_of(day),
        "may_call": may(request.user, Act.CONTACT),
        "answered": duty_rows.proposal_rows(answers.object_list, request),
        "answers": answers,
    }
    return render(request, "scheduling/today.html", context)


def _sections(
    request: StaffRequest, lines: QuerySet[DeskLine], tally: day_tally.DayTally, day: date
) -> list[dict[str, Any]]:
    """Give each section of which somebody is shown, its page cut in the database; rows are asked for all at once."""
    pages: dict[Section, Page[Any]] = {
        section: page_of_rows(
            shown_lines.in_order(lines, section), request, f"page{section.value}", count=count, size=SHOWN
        )
        for section in Section
        if (count := tally.sections.get(section, 0))
    }
    shown = shown_lines.shown(pages)
    every = [line for found in shown.values() for line in found]
    rows = rows_of(every, request.user, day, duty_rows.kept_answer("ladders", request))
    return [
        _section(section, page, [rows[line.pk] for line in shown[section]]) for section, page in pages.items()
    ]


def _section(section: Section, page: Page[Any], rows: list[dict[str, Any]]) -> dict[str, Any]:
    for first in rows[:1]:
        first["solid"] = "solid"
    return {
        "section": section,
        "later": section == Section.LATER,
        "conduct": CONDUCT[section],
        "page": page,
        "rows": rows,
    }


@allow(Act.CONTACT)
@require_POST
def claim(request: StaffRequest, pk: int) -> HttpResponse:
    """Claim a person of the list and go on to the call."""
    found = get_object_or_404(Patient, pk=pk)
    try:
        claims.claim(patient=found, by=request.user)
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:today"))
    return redirect("scheduling:call", found.pk)


@allow(Act.CONTACT)
@require_POST
def hand_back(request: StaffRequest, pk: int) -> HttpResponse:
    """Hand a claimed person back, so that anybody may call."""
    found = get_object_or_404(Patient, pk=pk)
    if claims.hand_back(patient=found, by=request.user):
        messages.success(request, _("%(who)s is free for anybody again.") % {"who": found})
    return redirect("scheduling:today")
