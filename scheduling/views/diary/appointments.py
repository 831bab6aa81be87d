"""What becomes of an appointment: moved, cancelled, came or did not come, taken back."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow
from clinic.duties import ledger
from clinic.models import StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import conflict, page_form
from scheduling.desk import booking, taking_back
from scheduling.diary_forms import CameForm, CancelForm, SlotForm
from scheduling.models import OPEN, Appointment
from scheduling.planning.wording import say_because
from scheduling.recalls import wording
from scheduling.views.diary.days import what_of
from scheduling.views.diary.places import places_for


@allow(Act.BOOK)
def came(request: StaffRequest, pk: int) -> HttpResponse:
    """Record that the patient came, and what was done."""
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
    """Record that the patient did not come."""
    found, form = _appointment(pk), RevisionForm(request.POST)
    said: dict[str, Any] = {"revision": form.seen(), "not_brought": request.POST.get("not_brought") == "yes"}
    return _outcome(
        request,
        found,
        lambda: booking.record_missed(appointment=found, by=request.user, **said),
        lambda: (
            _("%(who)s did not come: %(what)s")
            % {"who": found.patient, "what": wording.after_appointment(found)}
        ),
    )


@allow(Act.BOOK)
@require_POST
def cancel(request: StaffRequest, pk: int) -> HttpResponse:
    """Cancel an appointment, by the patient or by the clinic."""
    found, form = _appointment(pk), CancelForm(request.POST)
    if not form.is_valid():
        return _show_move(request, found, form)
    return _outcome(
        request,
        found,
        lambda: booking.cancel(appointment=found, by=request.user, **form.cleaned_data),
        lambda: (
            _("Cancelled for %(who)s: %(what)s")
            % {"who": found.patient, "what": wording.after_appointment(found)}
        ),
    )


@allow(Act.BOOK)
@require_POST
def take_back(request: StaffRequest, pk: int) -> HttpResponse:
    """Take the last entry about an appointment back."""
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
    return _move(request, found) if request.method == "POST" else _show_move(request, found)


def _show_move(request: StaffRequest, found: Appointment, form: CancelForm | None = None) -> HttpResponse:
    # The first to open comes first: its window is what the free places are laid beside.
    rows = list(found.recalls.filter(state__in=OPEN).order_by("earliest", "pk"))
    duties = ledger.open_duties(found.patient).filter(kind="rebook", subject=f"appointment:{found.pk}")
    owed = duties.first()
    context = {
        "visit": found,
        "patient": found.patient,
        "what": what_of(found, wording.subjects(found.recalls.all())),
        "owed": owed,
        "owed_note": say_because(owed.because) if owed else "",
        "movable": bool(rows) and found.state == "booked" and found.starts_at > clock.now(),
        "now": clock.now(),
        "cancel_form": form or CancelForm(initial={"revision": found.revision}),
        "may_take_back": taking_back.may_take_back(found, request.user),
        "free": places_for(rows, request.GET, found.minutes) if rows else None,
    }
    return render(request, "scheduling/move.html", context, status=422 if form else 200)


@allow(Act.BOOK)
@require_POST
def here(request: StaffRequest, pk: int) -> HttpResponse:
    """The patient is here before the day of the appointment: it is moved to now, and its outcome is asked."""
    found, form = _appointment(pk), RevisionForm(request.POST)
    try:
        booking.here_already(appointment=found, by=request.user, revision=form.seen())
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:move", pk))
    except booking.BookingRefused as error:
        messages.error(request, str(error))
        return redirect("scheduling:move", pk)
    return redirect("scheduling:came", pk)


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
