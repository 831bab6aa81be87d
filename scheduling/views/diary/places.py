"""Show free places by day and by week for whatever is booked or moved: the part of a page, and how it is paged."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinic import clock
from clinic.access import Act, StaffRequest, allow
from clinic.wording import write_day
from scheduling.desk import lengths, places
from scheduling.desk.places import FreeHours, Place
from scheduling.models import OPEN, Appointment, ClosureDay, PlaceKind, Recall
from scheduling.rules.plan import lateness

LOOK_AHEAD = timedelta(days=90)  # a choice, no source; a window that ends later is looked at to its end
FURTHEST = timedelta(days=730)  # no address makes the diary search further
IN_A_WEEK = 16  # times of one day beside the others of its week; the day alone shows all


@dataclass(frozen=True)
class Asked:
    """Which part of the diary is looked at: the words of the address, read leniently."""

    day: date | None = None
    span: str = "week"
    part: str = ""
    room: int | None = None
    who: int | None = None
    place: str = ""

    @classmethod
    def of(cls, given: QueryDict) -> "Asked":
        number = {name: _number(str(given.get(name, ""))) for name in ("room", "who")}
        span, part = ("day" if given.get("span") == "day" else "week"), given.get("part", "")
        # Cut, because it goes back into every link of the page.
        place, part = given.get("place", "")[:60], part if part in ("am", "pm") else ""
        return cls(_day(given.get("day", "")), span, part, place=place, **number)

    def query(self, **other: object) -> str:
        """Write the address of the same view with other words, such as another day."""
        words = {**vars(self), **other}
        return "?" + urlencode({name: value for name, value in words.items() if value})

    def shows(self, hours: FreeHours) -> bool:
        who = hours.clinician.pk if hours.clinician else None
        return self.room in (None, hours.resource.pk) and self.who in (None, who)

    def shows_at(self, place: Place) -> bool:
        morning = timezone.localtime(place.starts_at).hour < 12
        return not self.part or morning == (self.part == "am")


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() else None


def _day(text: str) -> date | None:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        return None
    return found if clock.today() <= found <= clock.today() + FURTHEST else None


@dataclass(frozen=True)
class Choice:
    """One time that can be chosen; `others`: how many more rooms are free then."""

    place: Place
    time: str
    others: int = 0


@dataclass(frozen=True)
class Column:
    """A day of the week, or on a day one room; `note`: what follows from booking then."""

    day: date
    where: list[str]
    choices: list[Choice]
    whole_day: str = ""
    more: int = 0
    empty: str = ""
    note: str = ""
    late: bool = False


@dataclass(frozen=True)
class Shown:
    """What the part of the page says: its columns, the ways to other days, and what lies inside the window."""

    asked: Asked
    minutes: int
    columns: list[Column]
    first: date
    inside: bool
    none_at_all: bool
    look_ahead: date
    kind: str = PlaceKind.VISIT
    rooms: list[tuple[str, str, bool]] = field(default_factory=list)
    people: list[tuple[str, str, bool]] = field(default_factory=list)

    @property
    def parts(self) -> list[tuple[str, str, bool]]:
        words = {"": _("any time"), "am": _("morning"), "pm": _("afternoon")}
        day = self.first.isoformat()
        return [
            (self.asked.query(part=part, day=day), said, part == self.asked.part)
            for part, said in words.items()
        ]

    @property
    def step(self) -> timedelta:
        return timedelta(days=1 if self.asked.span == "day" else 7)

    @property
    def earlier(self) -> str:
        before = max(self.first - self.step, clock.today())
        return self.asked.query(day=before) if self.first > clock.today() else ""

    @property
    def later(self) -> str:
        return self.asked.query(day=self.first + self.step)

    @property
    def other_span(self) -> str:
        return self.asked.query(span="week" if self.asked.span == "day" else "day", day=self.first)


@dataclass(frozen=True)
class Window:
    """When what is booked should be done: before it it is an extra visit, after it late."""

    earliest: date
    latest: date

    def note(self, day: date) -> str:
        if day < self.earliest:
            said = _("Before %(day)s: it would be an extra visit, and nothing is done by it.")
            return said % {"day": write_day(self.earliest)}
        late = lateness.days_late(self.latest, day)
        if not late:
            return ""
        return ngettext(
            "%(days)s day after the last day: it stays on Today until a dermatologist confirms it.",
            "%(days)s days after the last day: it stays on Today until a dermatologist confirms it.",
            late,
        ) % {"days": late}


def places_for(recalls: Iterable[Recall], given: QueryDict, minutes: int | None = None) -> Shown:
    """Show what is free for a visit that is for all of these; `minutes` where it is fixed already."""
    rows = list(recalls)
    # The day that ends first binds the whole visit; the first of them says from when on it counts.
    window = Window(rows[0].earliest, min(row.latest for row in rows))
    return show(window, minutes or lengths.minutes_of(rows), lengths.kind_for(rows), given)


def show(window: Window, minutes: int, kind: str, given: QueryDict) -> Shown:
    asked, today = Asked.of(given), clock.today()
    until = max(
        today + LOOK_AHEAD, min(window.latest, today + FURTHEST), (asked.day or today) + timedelta(days=7)
    )
    kind = places.hours_for(kind)
    hours = places.free_hours(since=today, until=until, minutes=minutes, kind=kind)
    fitting = [one for one in hours if asked.shows(one)]
    free = [one for one in fitting if any(map(asked.shows_at, one.places()))]
    inside = [one for one in free if window.earliest <= one.day <= window.latest]
    # Opened at the first place inside the window, and where that is full at the first one at all.
    first = asked.day or next((one.day for one in [*inside, *free]), today)
    columns = (
        _of_day(fitting, first, asked, window)
        if asked.span == "day"
        else _of_week(fitting, first, asked, window)
    )
    return Shown(
        asked, minutes, columns, first, bool(inside), not free, until, kind,
        _options(asked, "room", [(one.resource.pk, one.resource.name) for one in hours], _("any room"), first),
        _options(asked, "who", [(one.clinician.pk, str(one.clinician)) for one in hours if one.clinician],
                 _("anybody"), first),
    )  # fmt: skip


def _options(
    asked: Asked, name: str, known: list[tuple[int, str]], every: str, first: date
) -> list[tuple[str, str, bool]]:
    """List the ways to narrow the view down, where there is more than one to choose from."""
    chosen, found = getattr(asked, name), dict(known)
    if len(found) < 2 and chosen is None:
        return []
    rows: list[tuple[int | None, str]] = [(None, every), *sorted(found.items(), key=lambda row: row[1])]
    return [(asked.query(**{name: key, "day": first}), words, key == chosen) for key, words in rows]


def _of_week(hours: list[FreeHours], first: date, asked: Asked, window: Window) -> list[Column]:
    """Make a column of each of seven days; of a weekend only where it has hours."""
    days = [first + timedelta(days=step) for step in range(7)]
    closed = dict(ClosureDay.objects.filter(day__in=days).values_list("day", "reason"))
    columns = []
    for day in days:
        of_day = [one for one in hours if one.day == day]
        # A weekend without hours is nothing that anybody looks for; a weekday without hours is a question.
        if of_day or day.weekday() < 5:
            columns.append(_column(day, of_day, asked, window, closed.get(day)))
    return columns


def _column(day: date, hours: list[FreeHours], asked: Asked, window: Window, closed: str | None) -> Column:
    by_time: dict[str, list[Place]] = {}
    for place in sorted(_of(hours, asked), key=lambda one: (one.starts_at, one.resource.name)):
        by_time.setdefault(f"{timezone.localtime(place.starts_at):%H:%M}", []).append(place)
    # A time is offered once, whoever is free then: on the telephone a time is agreed, not a room.
    choices = [Choice(rows[0], said, len(rows) - 1) for said, rows in by_time.items()]
    few = _spread(choices)
    note = window.note(day)
    empty = "" if choices else _why_empty(hours, closed)
    where = sorted({places.where(one.resource, one.clinician) for one in hours if one.starts})
    more = len(choices) - len(few)
    whole_day = asked.query(span="day", day=day)
    return Column(day, where, few, whole_day, more, empty, note, day > window.latest)


def _of_day(hours: list[FreeHours], day: date, asked: Asked, window: Window) -> list[Column]:
    """Make a column of each session of one day, with all its times."""
    of_day, note = [one for one in hours if one.day == day], window.note(day)
    closed = ClosureDay.objects.filter(day=day).values_list("reason", flat=True).first()
    columns = []
    for one in of_day:
        choices = [
            Choice(place, f"{timezone.localtime(place.starts_at):%H:%M}") for place in _of([one], asked)
        ]
        empty = "" if choices else _why_empty([one], closed)
        columns.append(
            Column(
                day,
                [places.where(one.resource, one.clinician)],
                choices,
                "",
                0,
                empty,
                note,
                day > window.latest,
            )
        )
    return columns or [Column(day, [], [], "", 0, _why_empty([], closed), note)]


def _of(hours: list[FreeHours], asked: Asked) -> list[Place]:
    return [place for one in hours for place in one.places() if asked.shows_at(place)]


def _why_empty(hours: list[FreeHours], closed: str | None) -> str:
    if closed:
        return _("closed: %(why)s") % {"why": closed}
    return _("nothing free") if hours else _("no bookable hours")


def _spread(choices: list[Choice]) -> list[Choice]:
    """Choose some times from the whole day, the first among them: never only those of the morning."""
    if len(choices) <= IN_A_WEEK:
        return choices
    step = (len(choices) - 1) / (IN_A_WEEK - 1)
    return [choices[round(index * step)] for index in range(IN_A_WEEK)]


@allow(Act.BOOK)
def places_of_recall(request: StaffRequest, pk: int) -> HttpResponse:
    """Answer with the part of the page alone: another week, for the recall and all that is ticked beside it."""
    found = get_object_or_404(Recall, pk=pk)
    also = [key for key in request.GET.getlist("also") if key.isdecimal()]
    beside = Recall.objects.filter(patient=found.patient_id, pk__in=also, state__in=OPEN).exclude(pk=pk)
    return _part(request, places_for([found, *beside], request.GET))


@allow(Act.BOOK)
def places_of_appointment(request: StaffRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Appointment, pk=pk)
    rows = list(found.recalls.filter(state__in=OPEN).order_by("earliest", "pk"))
    return _part(request, places_for(rows, request.GET, found.minutes)) if rows else HttpResponse(status=404)


def _part(request: HttpRequest, shown: Shown) -> HttpResponse:
    return render(request, "scheduling/_places.html", {"free": shown})
