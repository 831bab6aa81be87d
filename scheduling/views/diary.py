from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, allow, may
from clinic.models import StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import conflict, page_form
from scheduling.desk import booking
from scheduling.forms import CameForm, ClosureForm, HoursForm
from scheduling.models import Appointment, ClosureDay, Resource, Session
from scheduling.recalls import wording


@allow(Act.SEE_WORKLIST)
def diary(request: HttpRequest) -> HttpResponse:
    """One day, or the seven days from Monday of the week that it lies in."""
    chosen = _day(request.GET.get("day", ""))
    week = request.GET.get("view") == "week"
    first = chosen - timedelta(days=chosen.weekday()) if week else chosen
    length = 7 if week else 1
    context = {
        "days": _days(first, length),
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


def _days(first: date, length: int) -> list[dict[str, Any]]:
    span = (first, first + timedelta(days=length - 1))
    rows = Appointment.objects.filter(starts_at__date__range=span).select_related("patient", "resource")
    visits = list(rows.prefetch_related("recalls").order_by("starts_at", "resource__name", "pk"))
    places = wording.subjects([row for visit in visits for row in visit.recalls.all()])
    sessions = list(Session.objects.filter(day__range=span).select_related("resource"))
    closed = dict(ClosureDay.objects.filter(day__range=span).values_list("day", "reason"))
    return [
        {
            "day": day,
            "closed": closed.get(day, ""),
            "sessions": [row for row in sessions if row.day == day],
            "visits": [
                (visit, "; ".join(wording.what_for(row, places) for row in visit.recalls.all()))
                for visit in visits
                if timezone.localdate(visit.starts_at) == day
            ],
        }
        for day in (first + timedelta(days=index) for index in range(length))
    ]


@allow(Act.BOOK)
@require_POST
def open_hours(request: HttpRequest) -> HttpResponse:
    form = HoursForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        room, _ = Resource.objects.get_or_create(name=given.pop("room").strip())
        try:
            booking.open_session(resource=room, by=request.user, **given)
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect(f"{resolve_url('scheduling:diary')}?day={given['day']}")
    return page_form(request, form, "Open bookable hours", back="scheduling:diary", button="Open these hours")


@allow(Act.BOOK)
@require_POST
def close_day(request: HttpRequest) -> HttpResponse:
    form = ClosureForm(request.POST, prefix="closure")
    if form.is_valid():
        try:
            row = booking.close_day(by=request.user, **form.cleaned_data)
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect(f"{resolve_url('scheduling:diary')}?day={row.day}")
    return page_form(
        request, form, "Close the clinic for a day", back="scheduling:diary", button="Close this day"
    )


@allow(Act.BOOK)
def came(request: HttpRequest, pk: int) -> HttpResponse:
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
            messages.success(request, f"{found.patient} came; the plan follows.")
            return redirect("scheduling:today")
    at = timezone.localtime(found.starts_at)
    note = f"Booked for {at:%H:%M} in {found.resource}. Only what was done completes a recall."
    more = {"back": "scheduling:today", "button": "Record the visit", "patient": found.patient, "note": note}
    return page_form(request, form, "What was done", **more)


def _appointment(pk: int) -> Appointment:
    return get_object_or_404(Appointment.objects.select_related("patient", "resource"), pk=pk)


@allow(Act.BOOK)
@require_POST
def missed(request: HttpRequest, pk: int) -> HttpResponse:
    found, form = _appointment(pk), RevisionForm(request.POST)
    return _outcome(
        request,
        found,
        lambda: booking.record_missed(appointment=found, by=request.user, revision=form.seen()),
        f"{found.patient} did not come: the recall is open again with its original dates.",
    )


@allow(Act.BOOK)
@require_POST
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    found, form = _appointment(pk), RevisionForm(request.POST)
    whose = request.POST.get("whose", "")
    return _outcome(
        request,
        found,
        lambda: booking.cancel(appointment=found, by=request.user, revision=form.seen(), whose=whose),
        f"Cancelled for {found.patient}: the recall is open again with its original dates.",
    )


def _outcome(request: HttpRequest, found: Appointment, act: Any, said: str) -> HttpResponse:
    try:
        act()
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:today"))
    except booking.BookingRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, said)
    return redirect("scheduling:today")
