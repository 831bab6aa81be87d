"""Undo a merge, by two members: every row that the merge moved goes back, as the ledger says.

What was recorded since stays with the survivor, unless it is about something that goes back, such as a picture of a
lesion that does. Merges of one record are undone in reverse order: a later one moved the rows of an earlier one too.
"""

from collections.abc import Callable, Sequence
from typing import Any, Final

from django.db import transaction
from django.db.models import QuerySet

from clinic import clock
from clinic.access import Act, require
from clinic.duties import proposals
from clinic.duties.proposals import Proposable
from clinic.merging import wording
from clinic.merging.merging import MergeRefused, standing
from clinic.merging.moving import move_back
from clinic.models import (
    AuditRecord,
    LikelyPair,
    Member,
    Merge,
    PairState,
    Patient,
    Proposal,
    Unmerge,
    change,
)
from clinic.people import longer_waits
from clinic.people.longer_waits import Later, MakesLonger
from clinic.people.patients import find_a_way
from clinic.trail import audit

ACT: Final = "patient.unmerge"

# Upper apps register here: rows of a table that stay with the survivor; what goes back though it was recorded since;
# what the two records were wanted for before and are after.
HOLDS: list[Callable[[Merge, str, list[int]], set[int]]] = []
GOES_ALONG: list[Callable[[Merge], None]] = []
DAYS: list[Callable[[Merge], Later]] = []


def recorded_since(merge: Merge) -> QuerySet[AuditRecord]:
    """Find what people recorded under the survivor since the merge: it stays there when the merge is undone."""
    of_merge = AuditRecord.objects.filter(action="patient.merge", subject=audit.subject_of(merge))
    rows = AuditRecord.objects.filter(patient=merge.survivor_id, by__isnull=False)
    # That something was proposed is no record of the patient; what was done because of it has its own.
    rows = rows.filter(pk__gt=of_merge.values("pk")[:1]).exclude(action__startswith="proposal.")
    return rows.select_related("by").order_by("-pk")


def _check(merge: Merge) -> None:
    if Unmerge.objects.filter(merge=merge).exists():
        raise MergeRefused(wording.UNDONE_ALREADY)
    survivor = merge.survivor
    if survivor.merged_into_id or any(later.pk > merge.pk for later in standing(survivor)):
        raise MergeRefused(wording.LATER_MERGE_FIRST)
    if proposals.waiting().filter(patient=survivor).exists():
        raise MergeRefused(wording.PROPOSALS_FIRST)


@transaction.atomic
def propose(*, merge: Merge, by: Member, reason: str, signed: str = "") -> Proposal:
    """Propose that two merged records are two people after all. Raises MakesLonger where a day would move later."""
    require(by, Act.SAY_SAME_PERSON)
    _check(merge)
    # Where somebody would be seen later, a dermatologist has looked at both days.
    if _try(merge, by, signed):
        require(by, Act.OVERRIDE)
    return proposals.propose(
        ACT, patient=merge.survivor, subject=merge, by=by, reason=reason, signed=signed, gone=merge.gone_id
    )


def _try(merge: Merge, by: Member, signed: str) -> dict[str, Any]:
    """Undo it for a look at the days, and take that back at once."""
    other = merge.second if merge.by == by else merge.by
    with transaction.atomic():
        longer = _undo(Unmerge(merge=merge, reason="-", by=by, second=other), signed)
        transaction.set_rollback(True)
    merge.refresh_from_db()
    return longer


def _apply(proposal: Proposal, by: Member) -> None:
    merge = Merge.objects.select_related("survivor", "gone").get(pk=proposals.key_of(proposal))
    list(Patient.objects.select_for_update().filter(pk__in=(merge.survivor_id, merge.gone_id)).order_by("pk"))
    _check(merge)
    row = Unmerge(merge=merge, reason=proposal.reason, by=by, second=proposal.proposed_by)
    try:
        longer = _undo(row, proposal.fields["signed"])
    except MakesLonger as error:
        raise MergeRefused(wording.DAYS_MOVED) from error
    _they_are_two(merge, by)
    survivor, gone = merge.survivor, merge.gone
    said = {"gone": gone.number, "second": proposal.proposed_by_id, **longer}
    audit.record("patient.unmerge", by=by, subject=row, patient=survivor, **said)
    audit.record("patient.unmerged", by=by, subject=row, patient=gone, was=survivor.number)
    for patient in (survivor, gone):
        if not patient.routes.working(clock.today()).exists():
            find_a_way(patient=patient, because=row, by=by)


def _undo(row: Unmerge, signed: str) -> dict[str, Any]:
    merge = row.merge
    days = [look(merge) for look in DAYS]
    row.at = clock.now()
    row.save(force_insert=True)
    move_back(merge, lambda table, keys: {key for hold in HOLDS for key in hold(merge, table, keys)})
    for along in GOES_ALONG:
        along(merge)
    merge.survivor.refresh_from_db()
    merge.gone.refresh_from_db()
    return longer_waits.compare(days, signed=signed)


def _they_are_two(merge: Merge, by: Member) -> None:
    """Keep that somebody has looked: the pair is not found again the next night."""
    first, second = sorted((merge.survivor_id, merge.gone_id))
    for pair in LikelyPair.objects.filter(one=first, other=second):
        decided: dict[str, Any] = {"state": PairState.TWO_PEOPLE, "decided_by": by, "decided_at": clock.now()}
        change(pair, seen=pair.revision, at=clock.now(), **decided)


def _describe(rows: Sequence[Proposal]) -> dict[int, str]:
    keys = {key for row in rows for key in (row.fields["gone"], row.patient_id)}
    people = Patient.objects.in_bulk(keys)
    return {row.pk: wording.say_unmerge(people[row.fields["gone"]], people[row.patient_id]) for row in rows}


UNMERGE: Final = Proposable(wording.UNMERGE, _apply, _describe, either=True)
