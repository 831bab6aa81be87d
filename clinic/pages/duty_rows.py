"""Make the rows of duties and proposals that lists show: what is owed, about what, by whom and until when."""

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

from django.db.models import Count, QuerySet
from django.http import HttpRequest
from django.shortcuts import resolve_url
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.access import may
from clinic.duties import ledger, proposals, wording
from clinic.duties.kinds import KINDS, Kind, OwningList, of_list
from clinic.merging import merging, unmerging
from clinic.models import Duty, Patient, Proposal
from clinic.people import leave
from clinic.people import wording as people_wording
from clinic.tally import kept_answers, tally, tally_question
from clinic.tally.kept_answers import KeptAnswer
from clinic.wording import Words

# An upper app says in words what lesion:12 or diagnosis:3 is, for many keys at once.
SUBJECT_WORDS: list[Callable[[Iterable[str]], dict[str, str]]] = []
# An upper app says where a duty ends by a row of its own: kind → words of the button, and the page. A list shows it.
DONE_AT: dict[str, tuple[Words, Callable[[Duty], str]]] = {
    "find_a_way": (
        _("Add a number or address"),
        lambda duty: f"{resolve_url('clinic:patient', duty.patient_id)}#routes",
    ),
}
# The same where the page has to be looked up, so that only the duty's own page shows it.
DOORS: dict[str, Callable[[Duty], tuple[Words, str] | None]] = {}
# A paper that goes with what is owed, beside the way in which it ends: kind → words of the link, and the page.
PAPERS: dict[str, Callable[[Duty, HttpRequest], tuple[Words, str] | None]] = {}


# An upper app words what the program says of a duty of its kind.
BECAUSE: dict[str, Callable[[Mapping[str, Any]], str]] = {"find_a_way": people_wording.say_way_wanted}


# Where what was proposed is looked at: act → words of the link, and the page.
PROPOSAL_DOORS: dict[str, tuple[Words, Callable[[Proposal], str]]] = {
    merging.ACT: (
        _("Look at both records"),
        lambda row: resolve_url("clinic:pair", proposals.key_of(row)),
    ),
    unmerging.ACT: (
        _("Look at what stays"),
        lambda row: resolve_url("clinic:part", proposals.key_of(row)),
    ),
}


def door_of_proposal(proposal: Proposal) -> tuple[Words, str] | None:
    words, page = PROPOSAL_DOORS.get(proposal.act, ("", None))
    return (words, page(proposal)) if page else None


def paper_of(duty: Duty, request: HttpRequest) -> tuple[Words, str] | None:
    return PAPERS[duty.kind](duty, request) if duty.kind in PAPERS else None


def door_of(duty: Duty) -> tuple[Words, str] | None:
    return DOORS[duty.kind](duty) if duty.kind in DOORS else None


@dataclass(frozen=True)
class DutyRow:
    duty: Duty
    kind: Kind
    about: str
    late: bool
    may_end: bool
    shares_name: bool = False
    done_at: str = ""
    done_words: Words = ""
    because: str = ""
    stands_in: str = ""  # where whoever was named for it is away


@dataclass(frozen=True)
class ProposalRow:
    proposal: Proposal
    what: str
    late: bool
    may_answer: bool
    by_dermatologist: bool


def duty_rows(
    duties: Iterable[Duty],
    request: HttpRequest,
    shared: Container[int] = frozenset(),
    words: Mapping[str, str] | None = None,
) -> list[DutyRow]:
    """`shared`: keys of patients whose name another bears as well; a page of one patient says so itself.

    `words`: what the rows are about, where the page has asked already.
    """
    rows, today = list(duties), clock.today()
    words = words_of(row.subject for row in rows) if words is None else words
    gone = leave.stand_ins((row.owner for row in rows if row.owner), today)
    made = (_row(row, words.get(row.subject, ""), shared, request, today) for row in rows)
    return [replace(row, stands_in=gone.get(row.duty.owner_id or 0, "")) for row in made]


def _row(duty: Duty, about: str, shared: Container[int], request: HttpRequest, today: date) -> DutyRow:
    kind = KINDS[duty.kind]
    may_end = may(request.user, kind.may_end)
    shares_name = duty.patient_id in shared
    because = _because(duty)
    row = DutyRow(duty, kind, about, duty.due_on < today, may_end, shares_name, because=because)
    # No button for who may not: a door that opens onto a refusal only teaches people to ignore buttons.
    if not may_end or duty.kind not in DONE_AT:
        return row
    words, address = DONE_AT[duty.kind]
    return replace(row, done_at=address(duty), done_words=words)


def _because(duty: Duty) -> str:
    """Say of what a duty follows: the step before it, or what the app that opened it words."""
    if "step" in duty.because:
        return wording.say_step(duty.because)
    return BECAUSE[duty.kind](duty.because) if duty.because else ""


def words_of(subjects: Iterable[str]) -> dict[str, str]:
    keys = [key for key in dict.fromkeys(subjects) if ":" in key]
    return {key: words for find in SUBJECT_WORDS for key, words in find(keys).items()} if keys else {}


def know(patient: Patient, words: Mapping[str, str]) -> None:
    """Keep the words of what a section has read anyhow, so that no other section of the page asks for it."""
    vars(patient).setdefault("words_about", {}).update(words)


def words_about(patient: Patient, subjects: Iterable[str]) -> dict[str, str]:
    """Say what is meant by each subject of one patient, asking only for what no section of the page knows."""
    known: dict[str, str] = vars(patient).setdefault("words_about", {})
    known.update(words_of(set(subjects) - known.keys()))
    return known


def proposal_rows(rows: Iterable[Proposal], request: HttpRequest) -> list[ProposalRow]:
    shown, today = list(rows), clock.today()
    words = proposals.in_words(shown)
    return [
        ProposalRow(
            row,
            words[row.pk],
            row.due_on < today,
            proposals.may_answer(row, request.user),  # type: ignore[arg-type]  # signed in, by the guard
            proposals.asks_a_dermatologist(row),
        )
        for row in shown
    ]


def owed_by(owner: OwningList, request: HttpRequest) -> int:
    """Count the duties of the ledger that a list owes."""
    return sum(_tally(request).get(kind, 0) for kind in of_list(owner))


def left_on(owner: OwningList, request: HttpRequest) -> int:
    """Count everything that a list holds, for the masthead."""
    return owed_by(owner, request) + sum(_tally(request).get(name, 0) for name in tally_question.HELD[owner])


def count_of(name: str, request: HttpRequest) -> int:
    """Give one of the further counts."""
    return _tally(request).get(name, 0)


def counted_here(name: str, number: int, request: HttpRequest) -> None:
    """Have the masthead show what the list below it has counted itself: one page must not show two numbers."""
    vars(request)["tally_of_lists"] = replace(_standing(request), numbers={**_tally(request), name: number})


def count_anew(request: HttpRequest) -> None:
    """Forget the counts of this page: something was brought up to date since."""
    vars(request).pop("tally_of_lists", None)


def kept_answer(name: str, request: HttpRequest) -> Any:
    """Give what was worked out over all rows of a list, of the same state as the numbers of this page."""
    return kept_answers.give(name, _standing(request))


def _tally(request: HttpRequest) -> Mapping[str, int]:
    return _standing(request).numbers


def _standing(request: HttpRequest) -> tally.Kept:
    """Give the number of every list by kind, one and the same for all places of a page."""
    # Kept on the request: the masthead and the page below it ask the same, and must not show two numbers.
    known = vars(request)
    if "tally_of_lists" not in known:
        known["tally_of_lists"] = tally.standing()
    numbers: tally.Kept = known["tally_of_lists"]
    return numbers


def _by_member(rows: QuerySet[Proposal]) -> dict[int, int]:
    return dict(rows.order_by().values_list("proposed_by").annotate(Count("pk")))


# How many answers each member has to read: of most members there are none.
KEPT: Final[dict[str, KeptAnswer]] = {"unread_answers": KeptAnswer(proposals.unread, _by_member)}


def open_of(patient: Patient) -> list[Duty]:
    """Find what is owed for a patient, once for a page and its sections."""
    # Several sections of the patient page come from apps that know nothing of each other.
    kept = vars(patient)
    if "open_duties" not in kept:
        kept["open_duties"] = list(ledger.open_duties(patient))
    duties: list[Duty] = kept["open_duties"]
    return duties
