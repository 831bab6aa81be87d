"""What waits for a dermatologist, in the order of worth, and which item follows which.

The order is a clinic setting: urgent signs; a change beyond its limit; what is past its own day; what the program could
not judge; other reasons by the patient's tier; last a first picture that has nothing to say but that it is the first.
"""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Final

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Value, When
from django.utils import timezone

from clinic import clock, policies
from clinic.duties import limits
from clinic.models import Member, PolicyKind, RiskAssessment
from clinic.models.risk import Tier
from lesions.limits import flags
from lesions.models import Flag, Review, ReviewState, SignOff

URGENT, CHANGED, LATE, NOT_JUDGED, OTHER, FIRST = range(6)
RANKS: Final = (URGENT, CHANGED, LATE, NOT_JUDGED, OTHER, FIRST)
_NOT_JUDGED: Final = ("doubtful", "inadequate", "unaligned", "unmeasured", "no_limits")
_TIERS: Final = (Tier.VERY_HIGH, Tier.HIGH, Tier.ABOVE_AVERAGE)
_ORDER: Final = ("rank", "tier_rank", "opened_at", "pk")
_LONGEST_LIMIT = 120  # days; a longer limit is never looked for
_LONGEST = timedelta(days=_LONGEST_LIMIT)


@dataclass(frozen=True)
class Place:
    """Where an item stands: how many others wait in its list, and the item that follows it, if any."""

    others: int
    following: int | None


def waiting() -> QuerySet[Review]:
    """Every review that waits, with its rank; nothing leaves it without a decision."""
    return _ranked(Review.objects.filter(state=ReviewState.WAITING))


def flagged() -> QuerySet[Review]:
    """What waits for a reason."""
    return waiting().filter(flagged=True)


def unflagged() -> QuerySet[Review]:
    """Every measure made and inside its limits; still one click away, and still to be decided."""
    return waiting().filter(flagged=False)


def decisions_of(member: Member) -> QuerySet[Review]:
    """The list that this member works through: the flagged, and the share of the others that is mixed in among them.

    Whoever asked for a second reading does not give it, so it stands in the others' lists only.
    """
    mixed = Q(flagged=True) | Q(mixed_rank__isnull=False)
    return waiting().filter(mixed).exclude(pk__in=_asked_by(member))


def _asked_by(member: Member) -> QuerySet[Review]:
    last = SignOff.objects.filter(lesion=OuterRef("lesion"), revoked__isnull=True).order_by(
        "-signed_at", "-pk"
    )
    asked = Flag.objects.filter(review=OuterRef("pk"), code="second_reading")
    rows = Review.objects.filter(Exists(asked), state=ReviewState.WAITING)
    return rows.annotate(asker=Subquery(last.values("by")[:1])).filter(asker=member.pk).values("pk")


def _ranked(rows: QuerySet[Review]) -> QuerySet[Review]:
    reasons = Flag.objects.filter(review=OuterRef("pk"))
    policy = policies.in_force(PolicyKind.FLAGS)
    change = flags.codes_of_change(policy) if policy else set()
    rank = Case(
        When(urgent=True, then=Value(URGENT)),
        When(mixed_rank__isnull=False, flagged=False, then=F("mixed_rank")),
        When(Exists(reasons.filter(code__in=change)), then=Value(CHANGED)),
        When(opened_at__lt=_late_before(), then=Value(LATE)),
        When(Exists(reasons.filter(code__in=_NOT_JUDGED)), then=Value(NOT_JUDGED)),
        When(Exists(reasons.exclude(code="nothing_to_compare")), then=Value(OTHER)),
        default=Value(FIRST),
        output_field=IntegerField(),
    )
    latest = RiskAssessment.objects.filter(patient=OuterRef("lesion__patient")).order_by(
        "-assessed_on", "-pk"
    )
    tiers = rows.annotate(rank=rank, tier=Subquery(latest.values("tier")[:1]))
    return tiers.annotate(tier_rank=_tier_rank()).order_by(*_ORDER)


def _tier_rank() -> Case:
    ranks = [When(tier=name, then=Value(place)) for place, name in enumerate(_TIERS)]
    return Case(*ranks, default=Value(len(_TIERS)), output_field=IntegerField())


def _late_before() -> datetime:
    """The moment before which whatever was opened is past its limit today."""
    limit, today = limits.in_force()["decide"], clock.today()
    days = (today - timedelta(days=back) for back in range(_LONGEST_LIMIT))
    late = next((day for day in days if limit.due_on(day, urgent=False) < today), today - _LONGEST)
    return timezone.make_aware(datetime.combine(late + timedelta(days=1), time.min))


def with_rows(rows: QuerySet[Review]) -> QuerySet[Review]:
    """With all that a row of the list shows, in queries of a fixed number."""
    near = rows.select_related("lesion__patient", "assessment__image", "comparison__earlier__image")
    return near.prefetch_related("flags", "lesion__urgent_signs")


def place_of(review: Review, rows: QuerySet[Review]) -> Place:
    """How many others of `rows` wait, and which follows this one; after the last the first comes again."""
    others = rows.exclude(pk=review.pk)
    here = waiting_row(review)
    after = others.filter(_behind(here)).first() if here else None
    following = after or others.first()
    return Place(others.count(), following.pk if following else None)


def waiting_row(review: Review) -> Review | None:
    return _ranked(Review.objects.filter(pk=review.pk)).first()


def _behind(here: Review) -> Q:
    """Behind this row in the order of the list."""
    found, same = Q(), Q()
    for name in _ORDER:
        value = getattr(here, name)
        found |= same & Q(**{f"{name}__gt": value})
        same &= Q(**{name: value})
    return found
