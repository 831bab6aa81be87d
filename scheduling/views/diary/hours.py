"""The hours that the diary is made of: sessions that come again, single ones, closed days, leave, lengths of visits."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.models import StaleRow
from clinic.models.visit import Purpose
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import conflict, page_form
from clinic.people import leave
from scheduling.desk import bookable, lengths
from scheduling.desk.bookable import BookingRefused
from scheduling.diary import sessions
from scheduling.diary_forms import ClosureForm, HoursForm, LastDayForm, LengthsForm, TemplateForm
from scheduling.models import ClosureDay, Session, SessionTemplate

BACK = "scheduling:sessions"
FEW = 15  # single sessions on one page, so that what comes again and what is closed stand near


@allow(Act.SEE_WORKLIST)
def hours(request: StaffRequest) -> HttpResponse:
    """Show what the diary is made of from today on."""
    today = clock.today()
    templates = SessionTemplate.objects.exclude(last_day__lt=today).select_related("resource", "clinician")
    singles = Session.objects.filter(day__gte=today, template=None).select_related("resource", "clinician")
    context = {
        "templates": page_of_rows(templates, request, "again"),
        "singles": page_of_rows(singles, request, "single", size=FEW),
        "leave": page_of_rows(leave.to_come(), request, "leave"),
        "closures": page_of_rows(ClosureDay.objects.filter(day__gte=today), request, "closures"),
        "lengths": [(Purpose(name).label, minutes) for name, minutes in lengths.in_force().items()],
        "may_set": may(request.user, Act.SET_SESSIONS),
        "may_close": may(request.user, Act.CLOSE_DAYS),
    }
    return render(request, "scheduling/sessions.html", context)


def _form(
    request: StaffRequest,
    form: Any,
    title: str,
    button: str,
    act: Callable[[dict[str, Any]], object],
    **more: str,
) -> HttpResponse:
    """Ask with a form and act; what is refused stands on the form again, with everything that was typed."""
    if form.is_valid():
        try:
            # A form may set many rows, such as every length of a visit: all of them or none.
            with transaction.atomic():
                act(form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, resolve_url(BACK))
        except BookingRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect(BACK)
    return page_form(request, form, title, back=BACK, button=button, **more)


@allow(Act.SET_SESSIONS)
def new_template(request: StaffRequest) -> HttpResponse:
    """Set sessions that come again."""
    form = TemplateForm(request.POST or None, initial={"day": clock.today()})
    note = _("They are opened for the year ahead, every morning for one day more.")
    title, button = _("Sessions that come again"), _("Open these sessions")
    return _form(
        request,
        form,
        title,
        button,
        lambda _given: sessions.set_template(by=request.user, **form.hours()),
        note=note,
    )


@allow(Act.SET_SESSIONS)
def end_template(request: StaffRequest, pk: int) -> HttpResponse:
    """End sessions that come again, from a day on."""
    found = get_object_or_404(SessionTemplate.objects.select_related("resource"), pk=pk)
    form = LastDayForm(request.POST or None, initial={"revision": found.revision, "last_day": clock.today()})
    note = _("What is booked in them after this day is owed until it is moved.")
    title, button = _("End these sessions"), _("End them")
    return _form(
        request, form, title, button,
        lambda given: sessions.end_template(template=found, by=request.user, **given), note=note,
    )  # fmt: skip


@allow(Act.SET_SESSIONS)
def open_hours(request: StaffRequest) -> HttpResponse:
    """Open bookable hours on a single day."""
    form = HoursForm(request.POST or None, initial={"day": clock.today()})
    title, button = _("Open bookable hours"), _("Open these hours")
    return _form(
        request, form, title, button, lambda _given: bookable.open_session(by=request.user, **form.hours())
    )


@allow(Act.SET_SESSIONS)
@require_POST
def remove_hours(request: StaffRequest, pk: int) -> HttpResponse:
    """Remove the hours of a single day to come."""
    found = get_object_or_404(Session.objects.select_related("resource"), pk=pk)
    return _act(
        request, lambda: sessions.remove(session=found, by=request.user), _("The session is removed.")
    )


@allow(Act.CLOSE_DAYS)
def close_day(request: StaffRequest) -> HttpResponse:
    """Close the clinic for a day."""
    form = ClosureForm(request.POST or None, initial={"day": clock.today()})
    note = _("What is booked on this day is owed until it is moved; due dates stay.")
    title, button = _("Close the clinic for a day"), _("Close this day")
    return _form(
        request, form, title, button, lambda given: bookable.close_day(by=request.user, **given), note=note
    )


@allow(Act.CLOSE_DAYS)
@require_POST
def open_day(request: StaffRequest, pk: int) -> HttpResponse:
    """Open a closed day again."""
    found = get_object_or_404(ClosureDay, pk=pk)
    return _act(
        request, lambda: bookable.open_day(closed=found, by=request.user), _("The day is open again.")
    )


@allow(Act.SET_SESSIONS)
def set_lengths(request: StaffRequest) -> HttpResponse:
    """Set how long each purpose takes, all of them in one form."""
    form = LengthsForm(request.POST or None)
    note = _("What is booked already keeps its length.")

    # Only what differs: the trail would else say that everything was set anew.
    def act(_given: dict[str, Any]) -> None:
        for purpose, minutes in form.changed().items():
            sessions.set_length(purpose=purpose, minutes=minutes, by=request.user)

    return _form(request, form, _("How long a visit lasts"), _("Set these lengths"), act, note=note)


def _act(request: StaffRequest, act: Callable[[], object], said: str) -> HttpResponse:
    try:
        act()
    except StaleRow as error:
        return conflict(request, error, resolve_url(BACK))
    except BookingRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, said)
    return redirect(BACK)
