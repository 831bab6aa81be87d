"""Forecast the year ahead, week by week: visits that are wanted, and places that the diary still has for them."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import groupby

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.wording import Words
from scheduling.desk import places
from scheduling.models import Appointment, AppointmentState, RecallState
from scheduling.planning import visits_wanted
from scheduling.rules.ruleset.ruleset import RuleSet

WEEKS = 52
WEEK = timedelta(days=7)
# A whole year, because fewer come in the holidays and in snow.
OWN_YEAR = timedelta(days=365)


@dataclass(frozen=True)
class Rate:
    """Of a hundred who are booked, how many do not come, and who says so."""

    per_cent: float
    source: Words


# Published rates; the first holds until somebody chooses another (docs/sources.md).
PUBLISHED = (
    Rate(
        8.2,
        _(
            "one breast clinic before it sent text reminders; "
            "BMC Health Services Research 2020, s12913-020-05627-2"
        ),
    ),
    Rate(
        4.1,
        _(
            "the same breast clinic with text reminders; BMC Health Services Research 2020, s12913-020-05627-2"
        ),
    ),
    Rate(5.7, _("out-patient appointments in England, 2017–18; PLoS Medicine 2021, 1003783")),
)


@dataclass
class Week:
    monday: date
    wanted: Counter[str] = field(default_factory=Counter)  # urgency → visits for which nobody is booked yet
    booked: int = 0
    again: float = 0.0  # visits of the week before to which the patient will not have come
    places: int | None = None  # still free; None: no bookable hours are open

    @property
    def load(self) -> float:
        return self.wanted.total() + self.again

    @property
    def visits(self) -> int:
        return round(self.load)

    @property
    def is_over(self) -> bool:
        return self.places is not None and self.visits > self.places


@dataclass
class Wanted:
    """Visits for which nobody is booked, by urgency, in each week from that of the day of counting on."""

    weeks: list[Counter[str]] = field(default_factory=lambda: [Counter() for _ in range(WEEKS)])
    late: int = 0  # visits of the first week whose last day is past
    records: int = 0
    behind: int = 0  # records whose recalls do not yet follow their facts


@dataclass
class Forecast:
    today: date
    weeks: list[Week]
    wanted: Wanted

    @property
    def over(self) -> list[Week]:
        return [week for week in self.weeks if week.is_over]

    @property
    def has_hours(self) -> bool:
        return any(week.places is not None for week in self.weeks)

    @property
    def unopened(self) -> list[tuple[Week, Week, int]]:
        """Find runs of weeks without bookable hours: the first, the last, and the visits wanted in them."""
        runs = [list(run) for closed, run in groupby(self.weeks, lambda week: week.places is None) if closed]
        return [(run[0], run[-1], round(sum(week.load for week in run))) for run in runs]

    @property
    def without_hours(self) -> int:
        """Count the visits wanted in weeks without bookable hours: they have no room either."""
        return sum(visits for _first, _last, visits in self.unopened)

    def week_of(self, day: date) -> Week | None:
        return self.weeks[index] if (index := _week(self.today, day)) is not None else None


def _monday(today: date) -> date:
    return today - timedelta(days=today.weekday())


def _week(today: date, day: date) -> int | None:
    """Say which of the weeks from that of today on a day lies in, None before and after them."""
    index = (day - _monday(today)).days // 7
    return index if 0 <= index < WEEKS else None


def forecast(today: date, missed: float, wanted: Wanted) -> Forecast:
    """Set what is wanted beside the diary; `missed` is the share, 0 to 1, of those booked who do not come.

    Whoever does not come is wanted again the week after. What finds no place is not carried on: each week
    is measured against its own visits.
    """
    weeks = [Week(_monday(today) + WEEK * k, count) for k, count in enumerate(wanted.weeks)]
    found = Forecast(today, weeks, wanted)
    _count_diary(found)
    for before, week in zip(found.weeks, found.weeks[1:], strict=False):
        week.again = missed * (before.load + before.booked)
    return found


def own_rate(today: date) -> tuple[float, int]:
    """Work out the clinic's own share of missed visits in the last twelve months, and of how many it is one."""
    ended = (AppointmentState.ATTENDED, AppointmentState.MISSED)
    rows = Appointment.objects.filter(state__in=ended, starts_at__date__range=(today - OWN_YEAR, today))
    tally = Counter(rows.values_list("state", flat=True))
    return tally[AppointmentState.MISSED] / max(tally.total(), 1), tally.total()


def count_wanted(today: date, ruleset: RuleSet | None) -> Wanted:
    """Count the wanted visits, in one pass over the records."""
    found, last = Wanted(), _monday(today) + WEEK * WEEKS - timedelta(days=1)
    for patient, known in visits_wanted.everybody() if ruleset else ():
        found.records += 1
        plan = getattr(patient, "plan", None)
        # Counted and said beside the forecast: of those records it shows what was true before.
        found.behind += plan is None or plan.facts_revision != patient.facts_revision
        wanted = visits_wanted.following(known, ruleset, patient.open_recalls, today, last)  # type: ignore[attr-defined, arg-type]
        for day, items in visits_wanted.visits(wanted, today).items():
            # Whoever is booked stands among the diary's own; counted here as well the week would look fuller.
            free = [one for one in items if getattr(one, "state", "") != RecallState.BOOKED]
            week = _week(today, day)
            if free and week is not None:
                found.weeks[week][min(one.urgency for one in free)] += 1
                found.late += any(one.latest < today for one in free)
    return found


def _count_diary(found: Forecast) -> None:
    last = found.weeks[-1].monday + timedelta(days=6)
    for day, count in places.count_by_day(since=found.today, until=last).items():
        if week := found.week_of(day):
            week.places = (week.places or 0) + count
    for day in _booked_days():
        if week := found.week_of(day):
            week.booked += 1


def _booked_days() -> Iterator[date]:
    ahead = Appointment.objects.filter(state=AppointmentState.BOOKED, starts_at__gte=clock.now())
    return (timezone.localdate(at) for at in ahead.values_list("starts_at", flat=True))
