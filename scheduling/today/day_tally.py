"""Sum up the day, whatever its length: how many people in which section, since when, and who works on whom."""

from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import Count, Min, QuerySet
from django.utils import timezone

from clinic import clock
from clinic.models import Member
from scheduling.desk import claims
from scheduling.models import Claim, ContactAttempt, DeskLine, Section


@dataclass(frozen=True)
class DayTally:
    """`sections`: people by section; `oldest`: since when the first of them has waited."""

    sections: dict[int, int]
    oldest: date | None

    @property
    def people(self) -> int:
        """The one number of Today: whoever has something that is to be done today."""
        return sum(count for section, count in self.sections.items() if section != Section.LATER)


def count_sections(lines: QuerySet[DeskLine]) -> DayTally:
    """Count the people of each section, in one question."""
    rows = lines.order_by().values_list("section").annotate(Count("pk"), Min("since"))
    found = list(rows)
    since = [first for section, _count, first in found if section != Section.LATER]
    return DayTally({section: count for section, count, _first in found}, min(since, default=None))


def weeks_of_later(lines: QuerySet[DeskLine]) -> list[tuple[date, int]]:
    """Count by day who comes up later."""
    later = lines.filter(section=Section.LATER).order_by("comes_on")
    return list(later.values_list("comes_on").annotate(Count("pk")))


def with_others(member: Member) -> list[tuple[str, int]]:
    """Say by name who else works on how many, the busiest first."""
    theirs = _held().exclude(by=member).order_by().values_list("by__name").annotate(number=Count("pk"))
    return list(theirs.order_by("-number", "by__name"))


def held_by(member: Member) -> int:
    return _held().filter(by=member).count()


def _held() -> QuerySet[Claim]:
    return Claim.objects.filter(by__isnull=False, touched_at__gt=claims.idle_since())


def tried_today() -> int:
    """Count the people whom the desk has tried to reach today."""
    # The clinic's own midnight: attempts are kept as moments, and UTC begins its days elsewhere.
    midnight = timezone.make_aware(datetime.combine(clock.today(), time()))
    made = ContactAttempt.objects.filter(at__gte=midnight, struck__isnull=True)
    return made.aggregate(people=Count("recall__patient", distinct=True))["people"]  # type: ignore[no-any-return]
