"""What waits for a dermatologist, in the order of worth, and which item follows which.

The order is a clinic setting: urgent signs; a change beyond its limit; what is past its own day; what the program could
not judge; other reasons by the patient's tier; last a first picture that has nothing to say but that it is the first.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Final

from django.db.models import (
    Case,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce, Least
from django.utils import timezone

from clinic import clock, policies
from clinic.duties import limits
from clinic.models import Member, PolicyKind, RiskAssessment
from clinic.models.risk import Tier
from lesions.limits import flags
from lesions.looking import readers
from lesions.models import Decision, Flag, Review, ReviewState, SignOff

URGENT, CHANGED, LATE, NOT_JUDGED, OTHER, FIRST = range(6)
_NOT_JUDGED: Final = ("doubtful", "inadequate", "unaligned", "unmeasured", "no_limits")
_TIERS: Final = (Tier.VERY_HIGH, Tier.HIGH, Tier.ABOVE_AVERAGE)
_ORDER: Final = ("rank", "tier_rank", "opened_at", "pk")
# A lesion waits in one list alone: one that the lot mixed in is not to be found out by looking into the other.
AMONG_FLAGGED: Final = Q(flagged=True) | Q(mixed_rank__isnull=False)
_LONGEST_LIMIT = 120  # days; a longer limit is never looked for
_LONGEST = timedelta(days=_LONGEST_LIMIT)


@dataclass(frozen=True)
class Place:
    """Where an item stands: how many others wait in its list, and the item that follows it, if any."""

    others: int
    following: int | None


def texts_in_force() -> dict[str, str]:
    """Read the policies that the order follows; a page that asks for more than one list asks for them once."""
    return policies.texts_in_force(PolicyKind.FLAGS, PolicyKind.DUTY_LIMITS)


def waiting(texts: Mapping[str, str] | None = None) -> QuerySet[Review]:
    """Find every review that waits, with its rank; nothing leaves it without a decision."""
    rows = Review.objects.filter(state=ReviewState.WAITING)
    return _ranked(rows, texts_in_force() if texts is None else texts)


def flagged() -> QuerySet[Review]:
    """Find what waits because a limit was passed, a sign was noted or nothing could be judged."""
    return waiting().filter(flagged=True)


def unflagged(texts: Mapping[str, str] | None = None) -> QuerySet[Review]:
    """Find what is inside every limit and not mixed in: one click away, and still to be decided."""
    return waiting(texts).filter(~AMONG_FLAGGED)


def decisions_of(member: Member, texts: Mapping[str, str] | None = None) -> QuerySet[Review]:
    """Find what this member works through: the flagged, and the share of the others that is mixed in among them.

    Whoever asked for a second reading does not give it, so it stands in the others' lists only.
    """
    in_force = texts_in_force() if texts is None else texts
    return waiting(in_force).filter(AMONG_FLAGGED & ~not_read_by(member, in_force.get("duty_limits")))


def not_read_by(member: Member, limits_text: str | None) -> Q:
    """Leave out what another is to read: till its limit whoever asked for that reading, for good whoever dissented.

    It binds while there is another; a lesion that nobody may read would be forgotten.
    """
    asked = Q(asked_by=member, dissented_by__isnull=True) & _asked_of_late(member, limits_text)
    party = asked | Q(asked_by=member, dissented_by__isnull=False) | Q(dissented_by=member)
    return party & readers.another_reads()


def _asked_of_late(member: Member, limits_text: str | None) -> Q:
    """Ask whether the limit of a second reading still runs, from the day on which it was asked for.

    Not from the day the review opened: each new picture opens another, and the reading would never come back.
    """
    asked = SignOff.objects.filter(
        lesion=OuterRef("lesion"), by=member, decision=Decision.SECOND_READING, revoked__isnull=True
    )
    soon, in_time = (_late_before(limits_text, urgent=urgent) for urgent in (True, False))
    return Q(Exists(asked.filter(signed_at__gte=in_time)), urgent=False) | Q(
        Exists(asked.filter(signed_at__gte=soon)), urgent=True
    )


def _ranked(rows: QuerySet[Review], texts: Mapping[str, str]) -> QuerySet[Review]:
    late = When(opened_at__lt=_late_before(texts.get("duty_limits")), then=Value(LATE))
    rank = Case(
        When(urgent=True, then=Value(URGENT)),
        # Before the reasons, or its place would betray that it has none.
        When(mixed_rank__isnull=False, flagged=False, then=F("mixed_rank")),
        # The ranks are written in their order: of all that holds, the least is the rank.
        default=Least(Case(late, default=Value(FIRST)), _rank_of_reasons(texts)),
        output_field=IntegerField(),
    )
    latest = RiskAssessment.objects.filter(patient=OuterRef("lesion__patient"))
    latest = latest.order_by("-assessed_on", "-pk")
    # The place is found within the look-up: outside, each tier would look the assessment up again.
    placed = Coalesce(Subquery(latest.annotate(place=_tier_rank()).values("place")[:1]), Value(len(_TIERS)))
    return rows.annotate(rank=rank, tier_rank=placed).order_by(*_ORDER)


def _rank_of_reasons(texts: Mapping[str, str]) -> Coalesce:
    """Rank a review by its flags alone, read once: asked for each rank, each would look all of them up again."""
    change = flags.codes_of_change(texts["flags"]) if "flags" in texts else set()
    rank = Case(
        When(code__in=change, then=Value(CHANGED)),
        When(code__in=_NOT_JUDGED, then=Value(NOT_JUDGED)),
        When(code="nothing_to_compare", then=Value(FIRST)),
        default=Value(OTHER),
        output_field=IntegerField(),
    )
    reasons = Flag.objects.filter(review=OuterRef("pk")).annotate(rank=rank)
    return Coalesce(Subquery(reasons.order_by("rank").values("rank")[:1]), Value(FIRST))


def _tier_rank() -> Case:
    ranks = [When(tier=name, then=Value(place)) for place, name in enumerate(_TIERS)]
    return Case(*ranks, default=Value(len(_TIERS)), output_field=IntegerField())


def _late_before(text: str | None, *, urgent: bool = False) -> datetime:
    """Find the moment before which whatever was opened is past its limit today."""
    limit, today = limits.limits(text or limits.shipped())["decide"], clock.today()
    # Counted back day by day: working days run forward only, and this asks the same function as the duty's own day.
    days = (today - timedelta(days=back) for back in range(_LONGEST_LIMIT))
    late = next((day for day in days if limit.due_on(day, urgent) < today), today - _LONGEST)
    return timezone.make_aware(datetime.combine(late + timedelta(days=1), time.min))


def rows_of(keys: Sequence[int]) -> list[Review]:
    """Read all that a page of the list shows, in a fixed number of questions and in the order of the keys."""
    near = Review.objects.select_related("lesion__patient", "assessment").only(*_SHOWN)
    # Kept as lists: else a question is built for each row, though it is never asked.
    signs = Prefetch("lesion__urgent_signs", to_attr="signs")
    found = near.prefetch_related(Prefetch("flags", to_attr="why"), signs).order_by().in_bulk(keys)
    # One that was signed since still stands on this page: so it would, had the page been asked a moment earlier.
    return [found[key] for key in keys if key in found]


# A row shows little of a record and nothing of what was measured.
_SHOWN: Final = (
    *("urgent", "look_first", "opened_at", "assessment__image"),
    *(f"lesion__{name}" for name in ("patient", "label", "site", "side")),
    *(f"lesion__patient__{name}" for name in ("given_name", "family_name", "born", "number")),
)


def still_waits(pk: int, rows: QuerySet[Review]) -> bool:
    """Say whether an item that was the next one when a page was made is still in its list."""
    return rows.filter(pk=pk).exists()


def place_of(review: Review, rows: QuerySet[Review]) -> Place:
    """Find how many others of `rows` wait, and which follows this one; after the last the first comes again.

    One question, for keys alone. An item that left the list meanwhile is followed by its first.
    """
    # All keys and not a cut of them: the order rests on four things at once, so no page of it says who follows.
    keys = list(rows.values_list("pk", flat=True))
    if review.pk not in keys:
        return Place(len(keys), keys[0] if keys else None)
    after = keys[(keys.index(review.pk) + 1) % len(keys)]
    return Place(len(keys) - 1, after if after != review.pk else None)
