"""Book what a recall asks for: a free place, a time of a diary kept elsewhere, or somebody who is here already."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.models import StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import conflict, page_form
from scheduling.desk import booking, contacts, lengths
from scheduling.diary_forms import BookForm, ElsewhereForm, ways_to
from scheduling.models import Appointment, Recall, RecallState
from scheduling.planning import rebook
from scheduling.recalls import wording
from scheduling.views.diary.places import places_for

FREE = (RecallState.PLANNED, RecallState.DUE)


def what_can_be_booked(found: Recall, request: StaffRequest) -> dict[str, Any]:
    """Find free places for what is due now in one visit; what may be done beside it otherwise is not ticked."""
    if found.state not in FREE or not may(request.user, Act.BOOK):
        return {"may_book": False}
    rows = list(beside(found))
    due = due_beside(rows)
    subjects = wording.subjects(rows)
    return {
        "may_book": True,
        "free": places_for([found, *due], request.GET),
        "beside": [(row, wording.what_for(row, subjects), row in due) for row in rows],
        "ways": ways_to(found.patient),
    }


def beside(found: Recall) -> QuerySet[Recall]:
    """Find other duties of this patient that the same visit may be for: their windows overlap, or were not kept."""
    rows = Recall.objects.filter(patient=found.patient, state__in=FREE).exclude(pk=found.pk)
    # An overdue recall is booked late: what has opened by today may be done in the same visit.
    by_then = max(found.latest, clock.today())
    return rows.filter(earliest__lte=by_then).select_related("patient").order_by("latest", "pk")


def due_beside(rows: list[Recall]) -> list[Recall]:
    return [row for row in rows if row.earliest <= clock.today()]


def _recall(pk: int) -> Recall:
    return get_object_or_404(Recall.objects.select_related("patient"), pk=pk)


@allow(Act.BOOK)
@require_POST
def book(request: StaffRequest, pk: int) -> HttpResponse:
    """Book a free place for a recall, and log the call in which it was agreed, if there was one."""
    found, back = _recall(pk), resolve_url("scheduling:recall", pk)
    form = BookForm(request.POST, beside=beside(found), patient=found.patient)
    if not form.is_valid():
        messages.error(request, _("Choose one of the free places."))
        return redirect(f"{back}#book")
    given = {name: form.cleaned_data[name] for name in ("revision", "resource", "starts_at")}
    call: dict[str, Any] = form.call()
    act: Any = booking.book_by_call if call else booking.book
    rows = [found, *form.cleaned_data["also"]]
    return _booked(request, found, lambda: act(recalls=rows, by=request.user, **call, **given))


def _booked(request: StaffRequest, found: Recall, act: Callable[[], Appointment]) -> HttpResponse:
    back = resolve_url("scheduling:recall", found.pk)
    try:
        made = act()
    except StaleRow as error:
        return conflict(request, error, back)
    except (booking.BookingRefused, contacts.ContactRefused) as error:
        messages.error(request, str(error))
        return redirect(f"{back}#book")
    messages.success(
        request,
        _("Booked for %(who)s: %(what)s.") % {"who": found.patient, "what": wording.appointment_words(made)},
    )
    if rebook.is_owed(made):
        messages.warning(
            request, _("It stands on Today to be moved, cancelled or confirmed by a dermatologist.")
        )
    return redirect(back)


@allow(Act.BOOK)
def book_elsewhere(request: StaffRequest, pk: int) -> HttpResponse:
    """Type in an appointment of a diary that is kept in another program, for all that is due in one visit."""
    found, back = _recall(pk), resolve_url("scheduling:recall", pk)
    rows = [found, *due_beside(list(beside(found)))]
    first = {"revision": found.revision, "minutes": lengths.minutes_of(rows)}
    form = ElsewhereForm(request.POST or None, initial=first)
    if form.is_valid():
        try:
            made = _type_in(form, rows, request)
        except StaleRow as error:
            return conflict(request, error, back)
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            return _booked(request, found, lambda: made)
    subjects = wording.subjects(rows)
    note = _("For: %(what)s") % {"what": "; ".join(wording.what_for(row, subjects) for row in rows)}
    title, button = _("Booked in another diary"), _("Enter this appointment")
    return page_form(request, form, title, back=back, button=button, patient=found.patient, note=note)


def _type_in(form: ElsewhereForm, rows: list[Recall], request: StaffRequest) -> Appointment:
    given = form.cleaned_data
    return booking.book_elsewhere(
        recalls=rows,
        where=given["where"],
        starts_at=form.starts_at(),
        minutes=given["minutes"],
        by=request.user,
        revision=given["revision"],
    )


@allow(Act.BOOK)
@require_POST
def walk_in(request: StaffRequest, pk: int) -> HttpResponse:
    """Enter somebody who is here without an appointment, and ask at once what was done."""
    found, back = _recall(pk), resolve_url("scheduling:recall", pk)
    form = RevisionForm(request.POST)
    rows = [found, *due_beside(list(beside(found)))]
    try:
        made = booking.walk_in(recalls=rows, by=request.user, revision=form.seen())
    except StaleRow as error:
        return conflict(request, error, back)
    except booking.BookingRefused as error:
        messages.error(request, str(error))
        return redirect(back)
    return redirect("scheduling:came", made.pk)
