"""Endings that need two people: one proposes, another confirms or refuses with a word, the first reads the answer."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.access import Act, may, require
from clinic.duties import ledger, limits, wording
from clinic.duties.ledger import DutyRefused
from clinic.models import Duty, Member, Patient, Proposal, change
from clinic.trail import audit, details
from clinic.trail.audit import subject_of
from clinic.wording import Words


@dataclass(frozen=True)
class Proposable:
    """`apply` does what was proposed, in the name of who confirms; `describe` says in words what each is, by its key.

    `either` means that of the two one must be a dermatologist, whichever; otherwise a dermatologist confirms.
    """

    words: Words
    apply: Callable[[Proposal, Member], object]
    # Of many at once: a list of them asks the database no more than one does.
    describe: Callable[[Sequence[Proposal]], Mapping[int, str]]
    either: bool = False
    refused: Callable[[Proposal], object] | None = None


ACTS: dict[str, Proposable] = {}


def register_proposable(code: str, proposable: Proposable) -> None:
    """Register what a confirmed proposal of this act does; each app calls this in `ready()`."""
    if code in ACTS:
        raise RuntimeError(f"proposals of the act {code!r} are registered already")
    ACTS[code] = proposable
    details.register_codes({"act": {code: proposable.words}})


@transaction.atomic
def propose(
    act: str,
    *,
    patient: Patient,
    subject: models.Model,
    by: Member,
    reason: str,
    urgent: bool = False,
    **fields: Any,
) -> Proposal:
    """Propose an ending to a dermatologist; nothing ends until somebody else has confirmed it."""
    require(by, Act.PROPOSE_ENDING)
    if not reason.strip():
        raise DutyRefused(wording.WHY)
    about = subject_of(subject)
    # The database refuses a second one too; asked first, the page can say so in words.
    if Proposal.objects.filter(act=act, subject=about, answered_at__isnull=True).exists():
        raise DutyRefused(wording.PROPOSED_ALREADY)
    now, limit = clock.now(), limits.in_force()["answer"]
    row = Proposal.objects.create(
        act=act,
        patient=patient,
        subject=about,
        fields=fields,
        reason=reason.strip(),
        urgent=urgent,
        proposed_by=by,
        proposed_at=now,
        due_on=limit.due_on(clock.today(), urgent),
        changed_at=now,
    )
    audit.record("proposal.make", by=by, subject=row, patient=patient, act=act, about=about, reason=reason)
    return row


def may_answer(proposal: Proposal, member: Member) -> bool:
    """Say whether this member may confirm or refuse: never who proposed, and one of the two is a dermatologist."""
    # Also a dermatologist: two people are asked for so that one tired mind cannot close a case.
    if member.pk == proposal.proposed_by_id or not may(member, Act.PROPOSE_ENDING):
        return False
    return may(member, Act.ANSWER_PROPOSALS) or not asks_a_dermatologist(proposal)


def asks_a_dermatologist(proposal: Proposal) -> bool:
    """Say whether a dermatologist answers it: also where either of the two may be one, and who proposed is none."""
    return not (ACTS[proposal.act].either and may(proposal.proposed_by, Act.ANSWER_PROPOSALS))


@transaction.atomic
def confirm(*, proposal: Proposal, by: Member, revision: int, answer: str = "") -> Proposal:
    """Confirm a proposal: it is done in the name of who confirms. Raises StaleRow if it was answered before."""
    # Answered before it is done: of two who confirm at once only one gets past this, and it is done once.
    _answer(proposal, by, revision, True, answer)
    ACTS[proposal.act].apply(proposal, by)
    audit.record("proposal.confirm", by=by, subject=proposal, patient=proposal.patient, act=proposal.act)
    return proposal


@transaction.atomic
def refuse(*, proposal: Proposal, by: Member, revision: int, answer: str) -> Proposal:
    """Refuse a proposal with a word that the proposer reads; nothing ends."""
    if not answer.strip():
        raise DutyRefused(wording.WHY_NOT)
    _answer(proposal, by, revision, False, answer)
    if undo := ACTS[proposal.act].refused:
        undo(proposal)
    audit.record(
        "proposal.refuse", by=by, subject=proposal, patient=proposal.patient, act=proposal.act, answer=answer
    )
    return proposal


def _answer(proposal: Proposal, by: Member, revision: int, confirmed: bool, answer: str) -> None:
    if not may_answer(proposal, by):
        raise DutyRefused(wording.ANOTHER_PERSON)
    said = {"answered_by": by, "answered_at": clock.now(), "confirmed": confirmed, "answer": answer.strip()}
    change(proposal, seen=revision, at=clock.now(), where={"answered_at": None}, **said)


def settle_all(rows: Iterable[Proposal], why: str, **params: str) -> None:
    """Answer proposals that nothing is left of, in the program's name; whoever made them reads why.

    `why` is a code of `wording.SETTLED`: the reader may have another language than whoever made it pointless.
    """
    for row in rows:
        said: dict[str, Any] = {"answered_at": clock.now(), "confirmed": False, "answer": why}
        said["fields"] = {**row.fields, "settled": params}
        change(row, seen=row.revision, at=clock.now(), where={"answered_at": None}, **said)
        audit.record(
            "proposal.refuse", by=None, subject=row, patient=row.patient, act=row.act, why=why, **params
        )


def about(*rows: models.Model) -> QuerySet[Proposal]:
    """Find the proposals about these rows that wait for an answer."""
    return waiting().filter(subject__in=[subject_of(row) for row in rows])


def waiting() -> QuerySet[Proposal]:
    """Find the proposals that nobody has answered yet, urgent first."""
    rows = Proposal.objects.filter(answered_at__isnull=True)
    return rows.select_related("patient", "proposed_by").order_by("-urgent", "due_on", "pk")


def unread() -> QuerySet[Proposal]:
    """Find the answers that nobody who proposed has read yet."""
    return Proposal.objects.filter(answered_at__isnull=False, seen_at__isnull=True)


def unread_answers(member: Member) -> QuerySet[Proposal]:
    """Find this member's proposals that others answered and that the member has not read yet."""
    rows = unread().filter(proposed_by=member)
    return rows.select_related("patient", "answered_by").order_by("answered_at", "pk")


@transaction.atomic
def note_read(*, proposal: Proposal, by: Member) -> None:
    """Keep that the proposer has read the answer."""
    # No audit record: that the proposer saw the answer moves nothing but a line on the proposer's own page.
    if proposal.proposed_by_id == by.pk and proposal.seen_at is None:
        change(proposal, seen=proposal.revision, at=clock.now(), seen_at=clock.now())


def _duty_of(proposal: Proposal) -> Duty:
    return Duty.objects.select_related("patient").get(pk=key_of(proposal))


def key_of(proposal: Proposal) -> int:
    """Give the key of the row that a proposal is about."""
    return int(proposal.subject.partition(":")[2])


def _end_duty(proposal: Proposal, by: Member) -> Duty:
    duty = _duty_of(proposal)
    return ledger.end_with_ground_of_two(
        duty, by=by, second=proposal.proposed_by, ground=proposal.fields["ground"], note=proposal.reason
    )


def _describe_endings(rows: Sequence[Proposal]) -> dict[int, str]:
    duties = Duty.objects.in_bulk([key_of(row) for row in rows])
    return {row.pk: wording.say_ending(duties[key_of(row)].kind, row.fields["ground"]) for row in rows}


def in_words(rows: Sequence[Proposal]) -> dict[int, str]:
    """Say what each of these proposes, by its key; each act is asked once for all of its own."""
    by_act: dict[str, list[Proposal]] = defaultdict(list)
    for row in rows:
        by_act[row.act].append(row)
    return {key: words for act, those in by_act.items() for key, words in ACTS[act].describe(those).items()}


ENDING = Proposable(_("end a duty with a ground"), _end_duty, _describe_endings, either=True)
