"""What waits for a dermatologist: the lists of the flagged and of those inside every limit."""

from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any

from django.core.paginator import Page
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.duties import limits, proposals
from clinic.duties.kinds import OwningList
from clinic.pages import duty_list, duty_rows
from clinic.pages.paging import page_of_rows
from clinic.wording import Words
from lesions.looking import order, queue
from lesions.pages import decision_rows
from lesions.register import register
from lesions.review import owed, taking_back

REASONS: Mapping[str, tuple[int, Words]] = {
    "urgent": (queue.URGENT, _("urgent signs")),
    "changed": (queue.CHANGED, _("changed beyond a limit")),
    "late": (queue.LATE, _("past its day")),
    "not_judged": (queue.NOT_JUDGED, _("not judged by its figures")),
    "other": (queue.OTHER, _("other reasons")),
    "first": (queue.FIRST, _("first pictures")),
}


@allow(Act.SEE_DECISIONS)
def decisions(request: StaffRequest) -> HttpResponse:
    """List what waits for a dermatologist and why, with what else is owed in Decisions."""
    return _list(request, _kept(request).left_to(request.user), flagged=True)


@allow(Act.SEE_DECISIONS)
def unflagged(request: StaffRequest) -> HttpResponse:
    """List what lies inside every limit and is still to be decided."""
    return _list(request, _kept(request).unflagged, flagged=False)


def _kept(request: StaffRequest) -> order.Order:
    kept: order.Order = duty_rows.kept_answer("decisions", request)
    return kept


def _list(request: StaffRequest, found: order.Ranked, flagged: bool) -> HttpResponse:
    why = request.GET.get("why", "")
    page = _page(request, found, why)
    reviews = queue.rows_of([pk for pk, _rank in page.object_list])
    context = {
        "page": page,
        "rows": decision_rows.rows(reviews, "" if flagged else "unflagged"),
        "flagged": flagged,
        "why": why,
        "reasons": _reasons(Counter(rank for _pk, rank in found)) if flagged else [],
        "others": duty_rows.count_of("unflagged" if flagged else "flagged", request),
        "oldest": min((review.opened_at for review in reviews), default=None),
        "may_open": may(request.user, Act.SEE_PICTURES),
        # An empty list says what was decided, or nobody would know whether it looked at all.
        "signed": owed.standing().count() if not reviews else None,
        "lately": list(taking_back.to_take_back(request.user)),
    }
    if flagged:
        waiting = _held(request, "proposed", proposals.waiting, "proposals")
        context |= _signs(request) | {
            "left": duty_rows.left_on(OwningList.DECISIONS, request),
            "parts": _parts(request, len(found)),
            "proposed": duty_rows.proposal_rows(waiting.object_list, request),
            "proposed_page": waiting,
            "duties": duty_list.page_of_list(OwningList.DECISIONS, request),
        }
    return render(request, "lesions/decisions.html", context)


def _parts(request: StaffRequest, lesions: int) -> list[str]:
    """Say what the number of the heading, which is the masthead's, is made of; what is none is not said."""
    # The masthead counts the whole list; what another is to read stands in everybody else's.
    for_others = duty_rows.count_of("flagged", request) - lesions
    signs, proposed = (duty_rows.count_of(name, request) for name in ("signs", "proposed"))
    wanted = duty_rows.owed_by(OwningList.DECISIONS, request)
    said = (
        (lesions, ngettext("one lesion to decide on", "%(n)s lesions to decide on", lesions)),
        (for_others, ngettext("one for another’s reading", "%(n)s for another’s reading", for_others)),
        (signs, ngettext("one to examine in person", "%(n)s to examine in person", signs)),
        (proposed, ngettext("one proposed", "%(n)s proposed", proposed)),
        (wanted, ngettext("one where your word is wanted", "%(n)s where your word is wanted", wanted)),
    )
    return [words % {"n": count} for count, words in said if count]


def _page(request: StaffRequest, found: order.Ranked, why: str) -> "Page[Any]":
    # A word of the address that names no reason shows everything: a list must never seem empty by a typing error.
    wanted = [row for row in found if row[1] == REASONS[why][0]] if why in REASONS else found
    return page_of_rows(wanted, request)


def _reasons(counted: Mapping[int, int]) -> list[tuple[str, Words, int]]:
    """Name each reason with how many of the list wait for it."""
    return [(key, words, counted[rank]) for key, (rank, words) in REASONS.items() if counted.get(rank)]


def _held(request: StaffRequest, counted: str, rows: Callable[[], QuerySet[Any]], name: str) -> "Page[Any]":
    """Give one page of what the masthead has counted; where that is none, no question is even written."""
    count = duty_rows.count_of(counted, request)
    return page_of_rows(rows() if count else (), request, name, count)


def _signs(request: StaffRequest) -> dict[str, Any]:
    """List signs and concerns without a picture: an examination in person is what ends them."""
    page = _held(request, "signs", register.without_picture, "signs")
    if not page.object_list:
        return {"unseen": page, "unseen_rows": []}
    limits_text = queue.texts_in_force().get("duty_limits") or limits.shipped()
    limit, today = limits.limits(limits_text)["examine"], clock.today()
    rows = [(row, limit.due_on(row.noted_on, urgent=True)) for row in page.object_list]
    late = [{"sign": row, "due_on": due, "late": due < today} for row, due in rows]
    return {"unseen": page, "unseen_rows": late}
