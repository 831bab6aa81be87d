from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Any

from django.contrib import messages
from django.core.paginator import Page
from django.db.models import Count
from django.db.models.functions import TruncDate
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.duties import ledger
from clinic.models import StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import conflict, page_form
from scheduling.desk import bookable, booking, taking_back
from scheduling.forms import CameForm, ClosureForm, HoursForm, SlotForm
from scheduling.models import OPEN, Appointment, ClosureDay, Resource, Session
from scheduling.planning.wording import say_because
from scheduling.recalls import wording
from scheduling.views import places


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
        "days": _days(first, length, request.user, list(page.object_list), counted),
        "chosen": chosen,
        "week": week,
        "before": first - timedelta(days=length),
        "after": first + timedelta(days=length),
        "now": clock.now(),
        "may_book": may(request.user, Act.BOOK),
        "hours_form": HoursForm(initial={"day": chosen}),
        "closure_form": ClosureForm(initial={"day": chosen}, prefix="closure"),
        "rooms": list(Resource.objects.filter(active=True)),
    }
    return render(request, "scheduling/diary.html", context)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return clock.today()


def _visits(request: StaffRequest, first: date, length: int) -> "tuple[Page[Any], dict[date, int]]":
    """Give one page of the appointments of these days, and how many each day has in all."""
    start, end = (_midnight(first + timedelta(days=days)) for days in (0, length))
    rows = Appointment.objects.filter(starts_at__gte=start, starts_at__lt=end)
    by_day = rows.order_by().values_list(TruncDate("starts_at")).annotate(Count("pk"))
    counted: dict[date, int] = dict(by_day)
    shown = rows.select_related("patient", "resource").prefetch_related("recalls")
    shown = shown.order_by("starts_at", "resource__name", "pk")
    return page_of_rows(shown, request, count=sum(counted.values())), counted


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))


def _days(
    first: date, length: int, member: Any, visits: list[Appointment], counted: dict[date, int]
) -> list[dict[str, Any]]:
    span = (first, first + timedelta(days=length - 1))
    subjects = wording.subjects([row for visit in visits for row in visit.recalls.all()])
    sessions = list(Session.objects.filter(day__range=span).select_related("resource"))
    closed = dict(ClosureDay.objects.filter(day__range=span).values_list("day", "reason"))
    return [
        {
            "day": day,
            "closed": closed.get(day, ""),
            "sessions": [row for row in sessions if row.day == day],
            "count": counted.get(day, 0),
            "visits": [
                (visit, _what(visit, subjects), taking_back.may_take_back(visit, member))
                for visit in visits
                if timezone.localdate(visit.starts_at) == day
            ],
        }
        for day in (first + timedelta(days=index) for index in range(length))
    ]


def _what(visit: Appointment, subjects: dict[str, str]) -> str:
    return "; ".join(wording.what_for(row, subjects) for row in visit.recalls.all())


@allow(Act.BOOK)
@require_POST
def open_hours(request: StaffRequest) -> HttpResponse:
    form = HoursForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        room, _made = Resource.objects.get_or_create(name=given.pop("room").strip())
        try:
            bookable.open_session(resource=room, by=request.user, **given)
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect(f"{resolve_url('scheduling:diary')}?day={given['day']}")
    return page_form(
        request, form, _("Open bookable hours"), back="scheduling:diary", button=_("Open these hours")
    )


@allow(Act.BOOK)
@require_POST
def close_day(request: StaffRequest) -> HttpResponse:
    form = ClosureForm(request.POST, prefix="closure")
    if form.is_valid():
        try:
            row = bookable.close_day(by=request.user, **form.cleaned_data)
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect(f"{resolve_url('scheduling:diary')}?day={row.day}")
    return page_form(
        request, form, _("Close the clinic for a day"), back="scheduling:diary", button=_("Close this day")
    )


@allow(Act.BOOK)
def came(request: StaffRequest, pk: int) -> HttpResponse:
    found = _appointment(pk)
    form = CameForm(
        request.POST or None, appointment=found, by=request.user, initial={"revision": found.revision}
    )
    if form.is_valid():
        try:
            booking.record_attended(appointment=found, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, resolve_url("scheduling:today"))
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(who)s came; the plan follows.") % {"who": found.patient})
            return redirect("scheduling:today")
    at = timezone.localtime(found.starts_at)
    note = _("Booked for %(time)s in %(room)s. Only what was done completes a recall.")
    note = note % {"time": f"{at:%H:%M}", "room": found.resource}
    more = {"patient": found.patient, "note": note}
    button = _("Record the visit")
    return page_form(request, form, _("What was done"), back="scheduling:today", button=button, **more)


def _appointment(pk: int) -> Appointment:
    return get_object_or_404(Appointment.objects.select_related("patient", "resource"), pk=pk)


@allow(Act.BOOK)
@require_POST
def missed(request: StaffRequest, pk: int) -> HttpResponse:
    found, form = _appointment(pk), RevisionForm(request.POST)
    return _outcome(
        request,
        found,
        lambda: booking.record_missed(appointment=found, by=request.user, revision=form.seen()),
        lambda: (
            _("%(who)s did not come: %(what)s")
            % {"who": found.patient, "what": wording.after_appointment(found)}
        ),
    )


@allow(Act.BOOK)
@require_POST
def cancel(request: StaffRequest, pk: int) -> HttpResponse:
    found, form = _appointment(pk), RevisionForm(request.POST)
    whose = request.POST.get("whose", "")
    return _outcome(
        request,
        found,
        lambda: booking.cancel(appointment=found, by=request.user, revision=form.seen(), whose=whose),
        lambda: (
            _("Cancelled for %(who)s: %(what)s")
            % {"who": found.patient, "what": wording.after_appointment(found)}
        ),
    )


@allow(Act.BOOK)
@require_POST
def take_back(request: StaffRequest, pk: int) -> HttpResponse:
    found, form = _appointment(pk), RevisionForm(request.POST)
    return _outcome(
        request,
        found,
        lambda: taking_back.take_back(appointment=found, by=request.user, revision=form.seen()),
        lambda: (
            _("Taken back for %(who)s: the appointment is %(state)s.")
            % {"who": found.patient, "state": found.get_state_display()}
        ),
    )


@allow(Act.BOOK)
def move(request: StaffRequest, pk: int) -> HttpResponse:
    """Move an appointment to another time, or cancel it; what is owed about it stands beside."""
    found = _appointment(pk)
    if request.method == "POST":
        return _move(request, found)
    rows = list(found.recalls.filter(state__in=OPEN).order_by("earliest", "pk"))
    duties = ledger.open_duties(found.patient).filter(kind="rebook", subject=f"appointment:{pk}")
    owed = duties.first()
    context = {
        "visit": found,
        "patient": found.patient,
        "what": _what(found, wording.subjects(found.recalls.all())),
        "owed": owed,
        "owed_note": say_because(owed.because) if owed else "",
        "movable": bool(rows) and found.state == "booked" and found.starts_at > clock.now(),
        "now": clock.now(),
        "may_take_back": taking_back.may_take_back(found, request.user),
        "free": places.places_for(rows, request.GET, found.minutes) if rows else None,
    }
    return render(request, "scheduling/move.html", context)


def _move(request: StaffRequest, found: Appointment) -> HttpResponse:
    form = SlotForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Choose one of the free places."))
        return redirect("scheduling:move", found.pk)
    given = form.cleaned_data
    return _outcome(
        request,
        found,
        lambda: booking.move(appointment=found, by=request.user, **given),
        lambda: (
            _("Moved for %(who)s: %(what)s.")
            % {"who": found.patient, "what": wording.appointment_words(found)}
        ),
    )


def _outcome(request: StaffRequest, found: Appointment, act: Any, said: Callable[[], str]) -> HttpResponse:
    try:
        act()
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:today"))
    except booking.BookingRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, said())
    return redirect("scheduling:today")
