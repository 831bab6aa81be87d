"""Sum up the day, whatever its length: how many people in which section, since when, and who works on whom."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db.models import Count, Max, Min, QuerySet
from django.utils import timezone

from clinic import clock
from clinic.models import Member, Policy, Role
from clinic.tally.kept_answers import KeptAnswer
from scheduling.desk import claims, places
from scheduling.models import Appointment, Claim, ContactAttempt, DeskLine, Resource, Section, Session
from scheduling.planning import ladder

_FORTNIGHT = timedelta(days=14)


@dataclass(frozen=True)
class DayTally:
    """`sections`: people by section; `oldest`: since when the first of them has waited; `days`: of which days."""

    sections: dict[int, int]
    oldest: date | None
    days: frozenset[date]

    def is_of(self, day: date) -> bool:
        """Say whether the list was made for this day; another day's stands until the morning's chore has run."""
        return self.days <= {day}

    @property
    def people(self) -> int:
        """The one number of Today: whoever has something that is to be done today."""
        return sum(count for section, count in self.sections.items() if section != Section.LATER)


def count_sections(lines: QuerySet[DeskLine]) -> DayTally:
    """Count the people of each section, in one question."""
    rows = lines.order_by().values_list("section")
    found = list(rows.annotate(Count("pk"), Min("since"), Min("day"), Max("day")))
    since = [first for section, _count, first, *_days in found if section != Section.LATER]
    return DayTally(
        {section: count for section, count, *_rest in found},
        min(since, default=None),
        frozenset(day for *_rest, first, last in found for day in (first, last)),
    )


def weeks_of_later(lines: QuerySet[DeskLine]) -> list[tuple[date, int]]:
    """Count by day who comes up later."""
    later = lines.filter(section=Section.LATER).order_by("comes_on")
    return list(later.values_list("comes_on").annotate(Count("pk")))


def held(member: Member) -> tuple[int, list[tuple[str, int]]]:
    """Count on whom this member works, and say by name who else works on how many, the busiest first."""
    rows = Claim.objects.filter(by__isnull=False, touched_at__gt=claims.idle_since())
    counted = rows.order_by().values_list("by", "by__name").annotate(number=Count("pk"))
    by_member = {key: (name, number) for key, name, number in counted.order_by("-number", "by__name")}
    _name, mine = by_member.pop(member.pk, ("", 0))
    return mine, list(by_member.values())


def made_today() -> QuerySet[ContactAttempt]:
    """Find the attempts of today that nobody has struck through."""
    # The clinic's own midnight: attempts are kept as moments, and UTC begins its days elsewhere.
    midnight = timezone.make_aware(datetime.combine(clock.today(), time()))
    return ContactAttempt.objects.filter(at__gte=midnight, struck__isnull=True)


def tried(made: QuerySet[ContactAttempt]) -> int:
    """Count the people whom the desk has tried to reach."""
    return made.aggregate(people=Count("recall__patient", distinct=True))["people"]  # type: ignore[no-any-return]


def languages(lines: QuerySet[DeskLine]) -> list[str]:
    """List the languages for which somebody on Today needs an interpreter."""
    found = lines.exclude(language="").order_by("language")
    return list(found.values_list("language", flat=True).distinct())


def clinicians() -> QuerySet[Member]:
    """Find whose patients Today can be narrowed to."""
    return Member.objects.filter(role=Role.DERMATOLOGIST, is_active=True).order_by("name")


def fortnight() -> tuple[date, date]:
    return clock.today(), clock.today() + _FORTNIGHT


def room(_sessions: QuerySet[Session]) -> dict[date, tuple[int, ...]]:
    """Find where the bookable places of the fortnight begin; as a day goes on fewer of them are ahead."""
    since, until = fortnight()
    return places.starts_by_day(since=since, until=until)


# What Today and the diary show whatever their page and filter, kept till something of it is written.
KEPT: Final[dict[str, KeptAnswer]] = {
    "sections": KeptAnswer(DeskLine.objects.all, count_sections),
    "weeks_of_later": KeptAnswer(DeskLine.objects.all, weeks_of_later),
    "languages": KeptAnswer(DeskLine.objects.all, languages),
    "clinicians": KeptAnswer(clinicians, list),
    "tried_today": KeptAnswer(made_today, tried),
    "rooms": KeptAnswer(Resource.objects.all, lambda rows: rows.in_bulk()),
    "members": KeptAnswer(Member.objects.all, lambda rows: rows.only("name", "username").in_bulk()),
    "ladders": KeptAnswer(Policy.objects.all, lambda _policies: ladder.in_force()),
    "room": KeptAnswer(lambda: places.open_sessions(*fortnight()), room, besides=(Appointment,)),
}
