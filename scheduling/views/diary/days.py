"""The diary by day and by week, with what can be done in it."""

from collections.abc import Callable, Iterable
from datetime import date, datetime, time, timedelta
from typing import Any, Final, TypeVar
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Page
from django.db.models import Count, Prefetch, Q, QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.addresses import address_of
from clinic.models import Member, Patient
from clinic.pages import duty_rows
from clinic.pages.kept_searches import asked_for, keep
from clinic.pages.paging import page_of_rows
from clinic.pages.said import Said, who
from clinic.people import finding
from scheduling.desk import places, taking_back
from scheduling.diary_forms import PlaceForm
from scheduling.models import (
    Appointment,
    AppointmentState,
    ClosureDay,
    PlaceKind,
    Recall,
    RecallState,
    Resource,
    Session,
    Use,
)
from scheduling.recalls import wording

_Of = TypeVar("_Of")


@allow(Act.SEE_WORKLIST)
def diary(request: StaffRequest) -> HttpResponse:
    """Show one day of the diary, or the seven days from Monday of the week that it lies in."""
    chosen = _day(request.GET.get("day", ""))
    week = request.GET.get("view") == "week"
    first = chosen - timedelta(days=chosen.weekday()) if week else chosen
    length = 7 if week else 1
    page, counted = _visits(request, first, length)
    context = {
        "page": page,
        "days": _days(first, length, list(page.object_list), counted, request),
        "chosen": chosen,
        "week": week,
        "before": first - timedelta(days=length),
        "after": first + timedelta(days=length),
        "now": clock.now(),
        "may_book": may(request.user, Act.BOOK),
    }
    return render(request, "scheduling/diary.html", context)


def _day(text: str) -> date:
    try:
        # Typed by hand or cut off in an e-mail, an address leads to today rather than to a fault.
        return date.fromisoformat(text)
    except ValueError:
        return clock.today()


def _visits(request: StaffRequest, first: date, length: int) -> "tuple[Page[Any], dict[date, int]]":
    """Give one page of the appointments of these days, and how many each day has in all."""
    days = [first + timedelta(days=index) for index in range(length)]
    begins = [_midnight(day) for day in (*days, first + timedelta(days=length))]
    rows = Appointment.objects.filter(starts_at__gte=begins[0], starts_at__lt=begins[-1])
    # The clinic's days, from midnight to midnight of its time zone: no row's own day has to be worked out.
    each = {
        str(index): Count("pk", filter=Q(starts_at__gte=begins[index], starts_at__lt=begins[index + 1]))
        for index in range(length)
    }
    counted = dict(zip(days, rows.order_by().aggregate(**each).values(), strict=True))
    # Kept as a list: a manager made for each row costs more than all that is read.
    planned = Prefetch("recalls", Recall.objects.only("purpose", "subject", "number"), to_attr="planned")
    shown = rows.select_related("patient").prefetch_related(planned).only(*_SHOWN)
    shown = shown.order_by("starts_at", "resource__name", "pk")
    # Counted for the days already: the page needs no question of its own for that.
    return page_of_rows(shown, request, count=sum(counted.values())), counted


# What a row shows of an appointment, and what says whether it can be taken back.
_SHOWN: Final = (
    *("starts_at", "minutes", "state", "not_brought", "cancelled_because"),
    *("revision", "changed_by", "changed_at", "resource", "clinician"),
    *(f"patient__{name}" for name in ("given_name", "family_name", "born", "number")),
)


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))


def _days(
    first: date, length: int, visits: list[Appointment], counted: dict[date, int], request: StaffRequest
) -> list[dict[str, Any]]:
    span = (first, first + timedelta(days=length - 1))
    rooms, people = (duty_rows.kept_answer(name, request) for name in ("rooms", "members"))
    # Few rooms and clinicians stand in many rows: joined to each, they would be read as often.
    for visit in visits:
        visit.resource, visit.clinician = rooms[visit.resource_id], people.get(visit.clinician_id or 0)
    sessions = _hours_by_day(span, rooms, people)
    free: dict[date, list[places.FreeHours]] = {}
    left: dict[date, int] = {}
    if length == 1:
        free[first] = places.free_hours(since=first, until=first, kind="", where_and_who=(rooms, people))
    else:
        # Of a week only how many there are: it has no room for a button for each.
        left = places.count_by_day(since=span[0], until=span[1])
    rows = _by_day(visits, lambda visit: timezone.localdate(visit.starts_at))
    closed = dict(ClosureDay.objects.filter(day__range=span).values_list("day", "reason"))
    subjects, said = wording.subjects([row for visit in visits for row in _planned(visit)]), Said()
    return [
        {
            "day": day,
            "closed": closed.get(day, ""),
            "sessions": sessions.get(day, ()),
            "free": [_free(row) for row in free.get(day, ()) if row.starts],
            "left": left.get(day, 0),
            "count": counted.get(day, 0),
            "visits": [
                said.escaped(_row(visit, subjects, said, request.user)) for visit in rows.get(day, ())
            ],
        }
        for day in (first + timedelta(days=index) for index in range(length))
    ]


def _by_day(rows: Iterable[_Of], day_of: Callable[[_Of], date]) -> dict[date, list[_Of]]:
    found: dict[date, list[_Of]] = {}
    for row in rows:
        found.setdefault(day_of(row), []).append(row)
    return found


def _row(visit: Appointment, subjects: dict[str, str], said: Said, member: Any) -> dict[str, Any]:
    """Write one appointment in words; `names`: where it is stands in names alone, which nobody translates."""
    head = who(visit.patient, said)
    about, minutes = {"number": head["number"], "day": head["born"]}, visit.minutes
    may_take_back, begun = taking_back.may_take_back(visit, member), visit.starts_at <= clock.now()
    return head | {
        "revision": visit.revision,
        "at": f"{timezone.localtime(visit.starts_at):%H:%M}",
        "minutes": said.once(("minutes", minutes), lambda: _("%(n)s min") % {"n": minutes}),
        "who": _("%(number)s · born %(day)s") % about,
        "what": "; ".join(wording.what_for(row, subjects) for row in _planned(visit)),
        "where": f"{visit.resource}, {visit.clinician}" if visit.clinician else str(visit.resource),
        "names": visit.resource.use != Use.WALK_IN,
        "state": _state(visit, said),
        "because": visit.cancelled_because,
        "booked": visit.state == AppointmentState.BOOKED,
        "came": address_of("scheduling:came", visit.pk) if begun else "",
        "missed": address_of("scheduling:appointment_missed", visit.pk),
        "move": address_of("scheduling:move", visit.pk),
        "take_back": address_of("scheduling:take_back", visit.pk) if may_take_back else "",
    }


def _planned(visit: Appointment) -> list[Recall]:
    """Give what it was booked for, which `_visits` fetched."""
    found: list[Recall] = vars(visit)["planned"]
    return found


def _state(visit: Appointment, said: Said) -> str:
    if visit.not_brought:
        return said.once("not brought", lambda: _("was not brought"))
    return said.once(("state", visit.state), lambda: AppointmentState(visit.state).label)


def _hours_by_day(
    span: tuple[date, date], rooms: dict[int, Resource], people: dict[int, Member]
) -> dict[date, list[dict[str, Any]]]:
    """Say for each day who has hours where, and from when to when."""
    held = Session.objects.filter(day__range=span).order_by("day", "opens", "resource__name")
    found: dict[date, list[dict[str, Any]]] = {}
    for day, room, who_holds, *hours in held.values_list("day", "resource", "clinician", "opens", "closes"):
        where = places.where(rooms[room], people.get(who_holds or 0))
        opens, closes = (f"{at:%H:%M}" for at in hours)
        found.setdefault(day, []).append({"where": where, "opens": opens, "closes": closes})
    return found


def _free(row: places.FreeHours) -> dict[str, Any]:
    """Give the places of one session as the diary shows them; what it is kept for, where that is not any visit."""
    # Looked up once for the hundred places of a day; a moment stands in an address as it is written.
    before, _at, after = reverse("scheduling:book_place", args=[row.resource.pk, "at"]).rpartition("at")
    return {
        "where": places.where(row.resource, row.clinician),
        "kind_words": "" if row.kind == PlaceKind.VISIT else PlaceKind(row.kind).label,
        "places": [
            (f"{before}{place.at}{after}", f"{timezone.localtime(place.starts_at):%H:%M}")
            for place in row.places()
        ],
    }


def what_of(visit: Appointment, subjects: dict[str, str]) -> str:
    return "; ".join(wording.what_for(row, subjects) for row in visit.recalls.all())


@allow(Act.BOOK)
@sensitive_post_parameters("words")
def book_place(request: StaffRequest, room: int, at: str) -> HttpResponse:
    """Ask who is to have a place of the diary: those to be reached for whom its day is in order, the nearest first.

    Whoever is looked for by name gets the same place offered; the words are posted and stand in no address.
    """
    if request.method == "POST":
        key = keep(request, request.POST.get("words", ""))
        return redirect(f"{request.path}?{urlencode({'search': key})}")
    form = PlaceForm({"place": f"{room}|{at}"})
    if not form.is_valid():
        messages.error(request, _("Choose one of the free places."))
        return redirect("scheduling:diary")
    moment = timezone.localtime(form.cleaned_data["starts_at"])
    day, (_key, words) = moment.date(), asked_for(request)
    found = finding.few_enough(finding.search(words)) if words else None
    page = page_of_rows(_to_be_booked(day, found), request)
    rows = list(page.object_list)
    subjects = wording.subjects(rows)
    context = {
        "page": page,
        "rows": [
            (row, wording.what_for(row, subjects), row.latest < day, row.earliest > day) for row in rows
        ],
        "at": form.cleaned_data["starts_at"],
        "room": form.cleaned_data["resource"],
        "query": urlencode({"day": day, "span": "day", "place": f"{room}|{moment.isoformat()}"}),
        "words": words,
        "too_many": bool(words) and found is None,
    }
    return render(request, "scheduling/book_place.html", context)


def _to_be_booked(day: date, found: QuerySet[Patient] | None) -> QuerySet[Recall]:
    """Find what can be booked: of whoever was looked for everything open, else what its day is in order for."""
    rows = Recall.objects.filter(
        state__in=(RecallState.DUE, RecallState.PLANNED),
        patient__status="active",
        opened_on__lte=clock.today(),
    )
    # A visit before the earliest day is an extra one and completes nothing (docs/domain.md, 5).
    rows = rows.filter(earliest__lte=day) if found is None else rows.filter(patient__in=found)
    return rows.select_related("patient").order_by("urgency", "latest", "pk")
