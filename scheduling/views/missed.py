"""Pages of who was missed: the list with its reasons, where everybody is, and what no list holds."""

from dataclasses import replace
from typing import Any

from django.db.models.expressions import RawSQL
from django.http import Http404, HttpResponse
from django.shortcuts import render

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.models import Patient
from clinic.pages import duty_rows
from clinic.pages.paging import page_of_rows
from scheduling.counting import duty_count, whereabouts
from scheduling.pages import missed_rows, past_rows, place_rows
from scheduling.recalls import missed as late
from scheduling.recalls import missed_reasons
from scheduling.recalls import past_misses as past
from scheduling.recalls.past_misses import Asked

MONTHS = 12  # on one page


@allow(Act.SEE_MISSED)
def missed(request: StaffRequest) -> HttpResponse:
    """Show who should have been seen and was not, and where everybody is; `why` narrows the list.

    The morning's count is shown as it was kept; `count` asks for it anew, a pass over every record.
    """
    why = request.GET.get("why", "")
    reason = why if why in missed_reasons.REASONS else ""
    found: missed_reasons.Late = duty_rows.kept_answer("late", request)
    page = page_of_rows(found.keys.get(reason, ()), request)
    rows = late.rows_of(clock.today(), {key: found.reasons[key] for key in page.object_list})
    context = {
        "page": page,
        "rows": missed_rows.rows(rows),
        "people": duty_rows.count_of("missed", request),
        "recalls": len(found.reasons),
        "on_the_list": duty_rows.count_of("people", request),
        # Both pages can be held against each other.
        "on_today": duty_rows.kept_answer("missed_on_today", request),
        "reasons": found.counts(),
        "reason": missed_reasons.REASONS.get(reason, ""),
        "reason_code": reason,
        "may_trail": may(request.user, Act.SEE_TRAIL),
        "problems": duty_rows.kept_answer("problems", request),
        **_count(request),
    }
    return render(request, "scheduling/missed.html", context)


def _count(request: StaffRequest) -> dict[str, Any]:
    night = _of_the_morning(request)
    # Kept figures as a rule: a pass over every record at each look would make the page the slowest of all.
    now = night is None or "count" in request.GET
    count = whereabouts.count_now() if now or night is None else night.count
    return {
        "count": count,
        "counted_now": now,
        "night": night,
        "ledger": [(name, whereabouts.WORDS[name], number) for name, number in count.counts.items()],
        "agree": _both_agree() if now else None,
        "alarms": _with_names([*count.alarms, *count.faults], request),
        "ended": _with_names([count.checks_ended], request),
        "night_alarms": _with_names([*night.count.alarms, *night.count.faults], request)
        if night and now
        else [],
    }


def _of_the_morning(request: StaffRequest) -> whereabouts.MorningCount | None:
    """Give the morning's count, which names thousands of whom a page shows fifty: it is not read for each look."""
    kept: whereabouts.MorningCount | None = duty_rows.kept_answer("count", request)
    if kept is None or kept.count.moment <= clock.now():
        return kept
    # A clock ran ahead: what was counted before that counts.
    run = whereabouts.last_count()
    return whereabouts.MorningCount(run.day, whereabouts.as_kept(run)) if run else None


def _both_agree() -> bool:
    """Say whether the list and the count found the same people by two ways; where not, one of the two is wrong."""
    overdue = missed_reasons.late(clock.today()).order_by().values_list("patient", flat=True)
    return whereabouts.overdue_now() == set(overdue)


def _with_names(alarms: list[whereabouts.Alarm], request: StaffRequest) -> list[dict[str, Any]]:
    """Give each alarm with one page of those it names."""
    pages = [page_of_rows(alarm.patients, request, alarm.code) for alarm in alarms]
    people = missed_rows.named(key for page in pages for key in page.object_list)
    return [
        {"words": alarm.words, "page": page, "named": [people[key] for key in page.object_list]}
        for alarm, page in zip(alarms, pages, strict=True)
    ]


@allow(Act.SEE_MISSED)
def owed(request: StaffRequest) -> HttpResponse:
    """Show what is owed and what the lists hold, by kind, and by name what no list holds; counted as it is now."""
    counted = duty_count.count_duties()
    # What is lost comes first; of sixty kinds most are owed nothing, and are only named.
    rows = sorted((row for row in counted if row.owed), key=lambda row: not _loses(row))
    pages = [page_of_rows(row.lost, request, row.code) for row in rows]
    people = Patient.objects.in_bulk({key for page in pages for key in page.object_list})
    context = {
        "rows": [
            (row, page, [people[key] for key in page.object_list if key in people])
            for row, page in zip(rows, pages, strict=True)
        ],
        "empty": [row for row in counted if not row.owed],
        "moment": clock.now(),
        "lost": sum(len(row.lost) + len(row.strangers) for row in rows),
    }
    return render(request, "scheduling/owed.html", context)


def _loses(row: duty_count.KindCount) -> bool:
    return bool(row.lost or row.strangers)


@allow(Act.SEE_MISSED)
def place(request: StaffRequest, name: str) -> HttpResponse:
    """List exactly those whom the count has in this place, each with why, since when, and whose it is."""
    if name not in whereabouts.WORDS:
        raise Http404(name)
    keys = RawSQL(*whereabouts.select_in(name))
    page = page_of_rows(Patient.objects.filter(pk__in=keys), request, count=whereabouts.number_in(name))
    context = {
        "page": page,
        "rows": place_rows.place_rows(name, page.object_list),
        "words": whereabouts.WORDS[name],
        "moment": clock.now(),
    }
    return render(request, "scheduling/place.html", context)


@allow(Act.SEE_MISSED)
def missed_csv(request: StaffRequest) -> HttpResponse:
    """Hand out what the page shows, with the reason that was chosen there."""
    reason = request.GET.get("why", "")
    reason = reason if reason in missed_reasons.REASONS else ""
    answer = HttpResponse(
        late.download(by=request.user, reason=reason), content_type="text/csv; charset=utf-8"
    )
    answer["Content-Disposition"] = f'attachment; filename="missed-{clock.today()}.csv"'
    return answer


@allow(Act.SEE_MISSED)
def past_misses(request: StaffRequest) -> HttpResponse:
    """Show month by month what ran past its limit and what became of it, split as one asks."""
    asked, today = Asked.of(request.GET), clock.today()
    page = page_of_rows(past.months(today), request, size=MONTHS)
    context = {
        "page": page,
        "months": past_rows.month_lines(asked, today, list(page.object_list)),
        "parts": past_rows.parts(asked, today, request),
        "how": past.HOW.values(),
        "asked": past_rows.in_words(asked),
        "month": asked.month,
    }
    return render(request, "scheduling/past_misses.html", context)


@allow(Act.SEE_MISSED)
def past_miss_rows(request: StaffRequest) -> HttpResponse:
    """List exactly the recalls and duties of one number."""
    asked, today = Asked.of(request.GET), clock.today()
    page = page_of_rows(past.rows_of(asked, today), request, count=past.count_of(asked, today))
    context = {
        "page": page,
        "rows": past_rows.past_rows(page.object_list),
        "asked": past_rows.in_words(asked),
        "every": asked.every,
        "back": replace(asked, how="", every="").query(),
    }
    return render(request, "scheduling/past_miss_rows.html", context)
