"""The order of what waits for a dermatologist, as it is kept for the lists: to rank thousands costs more than a page.

It is the same for everybody, and `queue.py` says what it is. What one member is not to read is asked anew for each
page: that follows who is here today.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.db.models import QuerySet

from clinic.models import Member, Policy, RiskAssessment
from clinic.tally.kept_answers import KeptAnswer, columns_of
from lesions.looking import queue
from lesions.models import Flag, Lesion, Review, ReviewState

# The key of a review, and its rank.
Ranked = Sequence[tuple[int, int]]


@dataclass(frozen=True)
class Order:
    """`flagged`, `unflagged`: the two lists; `parties`: who asked for a second reading in the first, or dissented."""

    flagged: Ranked
    unflagged: Ranked
    parties: frozenset[int]

    def left_to(self, member: Member) -> Ranked:
        """Give what this member works through: what another is to read is left out."""
        if member.pk not in self.parties:
            return self.flagged
        others = set(_not_read_by(member))
        return [row for row in self.flagged if row[0] not in others]


def _not_read_by(member: Member) -> QuerySet[Review, int]:
    for_another = queue.not_read_by(member, queue.texts_in_force().get("duty_limits"))
    rows = Review.objects.filter(for_another, state=ReviewState.WAITING)
    return rows.values_list("pk", flat=True)


def _waiting() -> QuerySet[Review]:
    return Review.objects.filter(state=ReviewState.WAITING)


def _rank(_rows: QuerySet[Review]) -> Order:
    columns = "pk", "rank", "flagged", "mixed_rank", "asked_by", "dissented_by"
    keys, ranks, flagged, mixed, asked, dissented = columns_of(queue.waiting().values_list(*columns))
    # The same that `queue.AMONG_FLAGGED` asks of the database.
    among = [bool(own) or lot is not None for own, lot in zip(flagged, mixed, strict=True)]
    rows = list(zip(keys, ranks, strict=True))
    return Order(
        tuple(row for row, shown in zip(rows, among, strict=True) if shown),
        tuple(row for row, shown in zip(rows, among, strict=True) if not shown),
        frozenset({*asked, *dissented} - {None}),
    )


# The limits are policies, and read before the order is asked; the rest its look-ups read.
KEPT: Final = {"decisions": KeptAnswer(_waiting, _rank, besides=(Flag, Lesion, Policy, RiskAssessment))}
