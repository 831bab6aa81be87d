"""Pairs of records that may be one person: what waits, what a member says of one, and pairs put together by hand."""

from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet

from clinic import clock
from clinic.access import Act, require
from clinic.duties import limits, proposals
from clinic.merging import wording
from clinic.merging.merging import MergeRefused
from clinic.models import LikelyPair, Member, PairReason, PairState, Patient, change
from clinic.trail import audit


@transaction.atomic
def say_two_people(*, pair: LikelyPair, by: Member, revision: int) -> LikelyPair:
    """Say that two records are two people: they are never found as a pair again."""
    require(by, Act.SAY_SAME_PERSON)
    if proposals.about(pair).exists():
        raise MergeRefused(wording.PROPOSALS_FIRST)
    decided = {"state": PairState.TWO_PEOPLE, "decided_by": by, "decided_at": clock.now()}
    change(pair, seen=revision, at=clock.now(), where={"state": PairState.OPEN}, **decided)
    audit.record("pair.two_people", by=by, subject=pair, patient=pair.one, other=pair.other.number)
    return pair


@transaction.atomic
def pair_by_hand(*, patient: Patient, other: Patient, by: Member) -> LikelyPair:
    """Put two records side by side that somebody takes for one person, also where it was denied before."""
    require(by, Act.SAY_SAME_PERSON)
    if patient.pk == other.pk or patient.merged_into_id or other.merged_into_id:
        raise MergeRefused(wording.MERGED_ALREADY)
    first, second = sorted((patient, other), key=lambda one: one.pk)
    due, now = limits.in_force()["same_person"].due_on(clock.today(), False), clock.now()
    fields = {"reason": PairReason.BY_HAND, "found_on": clock.today(), "due_on": due, "changed_at": now}
    pair, new = LikelyPair.objects.get_or_create(one=first, other=second, defaults=fields)
    if not new and pair.state != PairState.OPEN:
        again: dict[str, Any] = {"state": PairState.OPEN, "decided_by": None, "decided_at": None}
        change(pair, seen=pair.revision, at=now, reason=PairReason.BY_HAND, due_on=due, **again)
    audit.record("pair.find", by=by, subject=pair, patient=first, other=second.pk, reason=pair.reason)
    return pair


def open_pairs() -> QuerySet[LikelyPair]:
    """Find the pairs that are still two records on file, and that nobody has decided about."""
    rows = LikelyPair.objects.filter(state=PairState.OPEN, one__merged_into=None, other__merged_into=None)
    return rows.select_related("one", "other")


def open_pairs_of(patient: Patient) -> QuerySet[LikelyPair]:
    return open_pairs().filter(Q(one=patient) | Q(other=patient))
