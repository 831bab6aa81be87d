"""Merge two records of one person, by two members: a link that can be undone (`unmerging.py`), with all rows moved.

Upper apps say what stands in the way, make room where two rows would say the same, and look at the days.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from django.db import transaction

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger, proposals
from clinic.duties.proposals import Proposable
from clinic.merging import wording
from clinic.merging.moving import Mover
from clinic.models import (
    ContactRoute,
    LikelyPair,
    Member,
    Merge,
    PairState,
    Patient,
    PatientStatus,
    Proposal,
    Voicemail,
    change,
)
from clinic.people import consent, longer_waits
from clinic.people.longer_waits import Later, MakesLonger
from clinic.trail import audit
from clinic.wording import Words

ACT: Final = "patient.merge"
# What the survivor's record does not say and the other does.
_FILLED: Final = (
    "sex", "address_hint", "interpreter", "access_needs", "best_times", "practitioner", "referrer",
)  # fmt: skip
_STRICTER: Final = ["", Voicemail.NO, Voicemail.NAME_ONLY, Voicemail.YES]


class MergeRefused(ValueError):
    """Raised where two records cannot be merged, or a merge not undone; the text is the sentence for the page."""


# Upper apps register here: why two records can't be merged now; what makes room; the days before and after.
BARS: list[Callable[[Patient, Patient], list[Words]]] = []
ROOM: list[Callable[[Mover], None]] = []
DAYS: list[Callable[[Patient, Patient], Later]] = []


def bars(survivor: Patient, gone: Patient) -> list[Words]:
    """Say in words why these two cannot be merged as they are."""
    found: list[Words] = []
    if survivor.merged_into_id or gone.merged_into_id or survivor.pk == gone.pk:
        found.append(wording.MERGED_ALREADY)
    # What an end of care closed and what it left open would get mixed with what is owed.
    if survivor.status != gone.status or PatientStatus.ENDING in (survivor.status, gone.status):
        found.append(wording.BOTH_IN_CARE)
    if proposals.waiting().filter(patient__in=(survivor, gone)).exists():
        found.append(wording.PROPOSALS_FIRST)
    return [*found, *(words for bar in BARS for words in bar(survivor, gone))]


def _check(survivor: Patient, gone: Patient) -> None:
    if found := bars(survivor, gone):
        raise MergeRefused(" ".join(map(str, found)))


@transaction.atomic
def propose(
    *, pair: LikelyPair, survivor: Patient, by: Member, reason: str, revision: int, signed: str = ""
) -> Proposal:
    """Propose that two records are one person, and which stays. Raises MakesLonger where a day would move later."""
    require(by, Act.SAY_SAME_PERSON)
    gone = other_of(pair, survivor)
    change(pair, seen=revision, at=clock.now(), where={"state": PairState.OPEN})
    _check(survivor, gone)
    # Where somebody would be seen later, a dermatologist has looked at both days.
    if _try(survivor, gone, by, signed):
        require(by, Act.OVERRIDE)
    fields: dict[str, Any] = {"survivor": survivor.pk, "gone": gone.pk, "signed": signed}
    return proposals.propose(ACT, patient=survivor, subject=pair, by=by, reason=reason, **fields)


def other_of(pair: LikelyPair, survivor: Patient) -> Patient:
    """Give the record of a pair that would be merged away."""
    both = {pair.one_id: pair.other_id, pair.other_id: pair.one_id}
    return Patient.objects.get(pk=both[survivor.pk])


def _try(survivor: Patient, gone: Patient, by: Member, signed: str) -> dict[str, Any]:
    """Merge for a look at the days, and undo it at once: only what is written can be planned."""
    with transaction.atomic():
        row = Merge(survivor=survivor, gone=gone, reason="-", by=by, second=_somebody_else(by))
        longer = _merge(row, signed)
        transaction.set_rollback(True)
    survivor.refresh_from_db()
    gone.refresh_from_db()
    return longer


def _somebody_else(by: Member) -> Member:
    found = Member.objects.exclude(pk=by.pk).order_by("pk").first()
    if found is None:
        raise MergeRefused(wording.TWO_MERGE)
    return found


def _apply(proposal: Proposal, by: Member) -> None:
    pair = LikelyPair.objects.get(pk=proposals.key_of(proposal))
    given = proposal.fields
    both = (
        Patient.objects.select_for_update().filter(pk__in=(given["survivor"], given["gone"])).order_by("pk")
    )
    people = {one.pk: one for one in both}
    survivor, gone = people[given["survivor"]], people[given["gone"]]
    _check(survivor, gone)
    row = Merge(survivor=survivor, gone=gone, reason=proposal.reason, by=by, second=proposal.proposed_by)
    try:
        longer = _merge(row, given["signed"])
    except MakesLonger as error:
        # Facts moved since it was proposed: whoever proposes it looks at the days again.
        raise MergeRefused(wording.DAYS_MOVED) from error
    decided = {"state": PairState.MERGED, "decided_by": by, "decided_at": row.at}
    change(pair, seen=pair.revision, at=clock.now(), where={"state": PairState.OPEN}, **decided)
    said = {"gone": gone.number, "second": proposal.proposed_by_id, **longer}
    audit.record("patient.merge", by=by, subject=row, patient=survivor, **said)
    audit.record("patient.merged_away", by=by, subject=row, patient=gone, into=survivor.number)


def _merge(row: Merge, signed: str) -> dict[str, Any]:
    """Link the two records and move every row; gives what is longer, for the audit record."""
    survivor, gone = row.survivor, row.gone
    days = [look(survivor, gone) for look in DAYS]
    row.at, row.photographs = clock.now(), consent.stricter(survivor, gone)
    row.save(force_insert=True)
    mover = Mover(row)
    for make_room in (_room_for_routes, *ROOM):
        make_room(mover)
    mover.move_all()
    mover.set(gone, merged_into_id=survivor.pk)
    mover.set(survivor, **_filled(survivor, gone))
    _end_find_a_way(mover)
    return longer_waits.compare(days, signed=signed)


def _filled(survivor: Patient, gone: Patient) -> dict[str, Any]:
    found = {name: getattr(survivor, name) or getattr(gone, name) for name in _FILLED}
    # The longer stretch of records is the stricter: a check that was due in it counts as missed.
    if survivor.records_since and gone.records_since:
        found["records_since"] = min(survivor.records_since, gone.records_since)
    return found


def _room_for_routes(mover: Mover) -> None:
    """Keep one of two rows for the same number: dead stays dead, and of voicemail the stricter."""
    for theirs in mover.gone.routes.all():
        ours = mover.survivor.routes.filter(kind=theirs.kind, value=theirs.value).first()
        if ours is None:
            continue
        mover.leave(theirs)
        voicemail = min(ours.voicemail, theirs.voicemail, key=_STRICTER.index)
        mover.set(ours, dead_since=_dead_since(ours, theirs), voicemail=voicemail)


def _dead_since(*routes: ContactRoute) -> Any:
    return min((route.dead_since for route in routes if route.dead_since), default=None)


def _end_find_a_way(mover: Mover) -> None:
    """Now that both records' routes are one, what was missing in one of them may be there."""
    survivor, now = mover.survivor, clock.now()
    if not survivor.routes.working(clock.today()).exists():
        return
    for duty in ledger.open_duties(survivor).filter(kind="find_a_way", because={}):
        if _opened_for_want_of_a_route(duty.opened_from):
            mover.set(duty, ended_at=now, evidence=audit.subject_of(mover.merge))
            audit.record("duty.end", by=None, subject=duty, patient=survivor, kind=duty.kind)


def _opened_for_want_of_a_route(opened_from: str) -> bool:
    """A letter that came back is looked into even where another way works."""
    return opened_from.partition(":")[0] in ("clinic.patient", "clinic.contactroute", "clinic.careend")


def _describe(rows: Sequence[Proposal]) -> dict[int, str]:
    keys = {row.fields[name] for row in rows for name in ("survivor", "gone")}
    people, said = Patient.objects.in_bulk(keys), consent.current_of(keys)
    both = {row.pk: (row.fields["gone"], row.fields["survivor"]) for row in rows}
    return {
        key: wording.say_merge(people[gone], people[kept], consent.differ(said.get(gone), said.get(kept)))
        for key, (gone, kept) in both.items()
    }


MERGE: Final = Proposable(wording.MERGE, _apply, _describe, either=True)


def standing(survivor: Patient) -> Iterable[Merge]:
    """Find what was merged into this record and is not undone, the latest first."""
    return survivor.merges.filter(undone__isnull=True).select_related("gone", "by", "second")
