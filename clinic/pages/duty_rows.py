"""Duties and proposals as a list shows them: what is owed, about what, by whom and until when."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from django.core.paginator import Page, Paginator
from django.http import HttpRequest

from clinic import clock
from clinic.access import may
from clinic.duties import ledger, proposals
from clinic.duties.kinds import KINDS, Kind, OwningList
from clinic.models import Duty, Proposal
from clinic.pages.responses import PAGE

# An upper app says in words what lesion:12 or diagnosis:3 is, for many keys at once.
SUBJECT_WORDS: list[Callable[[Iterable[str]], dict[str, str]]] = []

# Where a kind ends by a row of its own, the page on which that row is made; an upper app says which, without a query.
DONE_AT: dict[str, Callable[[Duty], str]] = {}


@dataclass(frozen=True)
class DutyRow:
    duty: Duty
    kind: Kind
    about: str
    late: bool
    may_end: bool
    done_at: str


@dataclass(frozen=True)
class ProposalRow:
    proposal: Proposal
    what: str
    late: bool
    may_answer: bool


def duty_rows(duties: Iterable[Duty], request: HttpRequest) -> list[DutyRow]:
    rows, today = list(duties), clock.today()
    words = words_of(row.subject for row in rows)
    return [_row(row, words.get(row.subject, ""), request, today) for row in rows]


def _row(duty: Duty, about: str, request: HttpRequest, today: date) -> DutyRow:
    kind = KINDS[duty.kind]
    may_end = may(request.user, kind.may_end)
    done_at = DONE_AT[duty.kind](duty) if may_end and duty.kind in DONE_AT else ""
    return DutyRow(duty, kind, about, duty.due_on < today, may_end, done_at)


def words_of(subjects: Iterable[str]) -> dict[str, str]:
    keys = [key for key in dict.fromkeys(subjects) if ":" in key]
    return {key: words for find in SUBJECT_WORDS for key, words in find(keys).items()} if keys else {}


def page_of_list(owner: OwningList, request: HttpRequest) -> Page:
    """One page of what this list owes; its rows stand drawn in `object_list`."""
    page = Paginator(ledger.on_list(owner), PAGE).get_page(request.GET.get("duties"))
    page.object_list = duty_rows(page.object_list, request)
    return page


def proposal_rows(rows: Iterable[Proposal], request: HttpRequest) -> list[ProposalRow]:
    today = clock.today()
    return [
        ProposalRow(
            row,
            proposals.ACTS[row.act].describe(row),
            row.due_on < today,
            proposals.may_answer(row, request.user),  # type: ignore[arg-type]
        )
        for row in rows
    ]


def owed_by(owner: OwningList, request: HttpRequest) -> int:
    """For the masthead: counted once for all lists of a page."""
    if not hasattr(request, "owed_by_list"):
        request.owed_by_list = ledger.counts()  # type: ignore[attr-defined]
    return request.owed_by_list[owner]  # type: ignore[attr-defined]
