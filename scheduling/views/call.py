"""The call: one person, everything that is due, and what came of it."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.models import Patient, StaleRow
from clinic.pages.responses import conflict, to_survivor
from clinic.people import carers
from clinic.trail import audit
from scheduling.call_forms import CallForm, TakeOverForm
from scheduling.desk import booking, calls, claims, confirming
from scheduling.desk.contacts import ContactRefused
from scheduling.diary_forms import BookForm
from scheduling.models import Appointment, Call, Claim, Recall
from scheduling.pages import call_page
from scheduling.today import worklists
from scheduling.views.diary.book import FREE, beside, due_beside
from scheduling.views.diary.places import places_for

# In the session and not in the address: reloaded or bookmarked, an address would offer the way back for ever.
NEXT = "call_just_logged"


@allow(Act.SEE_WORKLIST)
def call(request: StaffRequest, pk: int) -> HttpResponseBase:
    """Show the call and log it; opening it claims the person, if nobody else has."""
    patient = get_object_or_404(call_page.with_last_call(Patient.objects.all()), pk=pk)
    # A list of this morning or a bookmark may still lead to the record that was merged away.
    if patient.merged_into_id:
        return to_survivor(request, patient, page="scheduling:call")
    call_page.bring_up_to_date(request)
    if request.method == "POST":
        return _log(request, patient)
    audit.read(patient, by=request.user, page="call")
    return _page(request, patient, call_page.first_form(patient))


def _claimed(request: StaffRequest, patient: Patient) -> Claim | None:
    """Say whose the patient is; whoever opens the page of one whom nobody has claims that one."""
    if not may(request.user, Act.CONTACT):
        return claims.holder_of(patient)
    try:
        return claims.claim(patient=patient, by=request.user)
    except claims.ClaimedByOther as other:
        return other.claim  # the page says who


def _page(request: StaffRequest, patient: Patient, form: CallForm, status: int = 200) -> HttpResponse:
    context = call_page.context(request, patient, form, _claimed(request, patient))
    context["done"] = _just_logged(request)
    if context["may_call"] and context["bookable"] and may(request.user, Act.BOOK):
        shown = {row: words for row, words, _near, _paper in context["duties"] if row.state in FREE}
        context |= _places(request, context["bookable"], shown)
    return render(request, "scheduling/call.html", context, status=status)


def _places(request: StaffRequest, first: Recall, shown: dict[Recall, str]) -> dict[str, Any]:
    """Find free places for what is due now in one visit; what may be done beside it otherwise is not ticked.

    `shown`: what can be booked, in words; the same that `beside` takes when the form comes back.
    """
    by_then = max(first.latest, clock.today())
    others = {row: words for row, words in shown.items() if row != first and row.earliest <= by_then}
    due = due_beside(list(others))
    return {
        "free": places_for([first, *due], request.GET),
        "first": first,
        "first_words": shown[first],
        "beside": [(row, words, row in due) for row, words in others.items()],
    }


def _just_logged(request: StaffRequest) -> Call | None:
    """Find the call that was just logged, for its line and its way back."""
    key: int = request.session.get(NEXT, 0)
    if not key:
        return None
    found = Call.objects.filter(pk=key, by=request.user).select_related("patient").first()
    return found if found and calls.may_take_back(found, request.user) else None


@allow(Act.CONTACT)
def _log(request: StaffRequest, patient: Patient) -> HttpResponse:
    form = CallForm(request.POST, ways=calls.ways(patient), may_be_told=carers.in_force(patient))
    if form.is_valid():
        try:
            made = calls.log(
                patient=patient,
                by=request.user,
                outcome=form.cleaned_data["outcome"],
                said=form.said(),
                book=_wanted(request, patient),
                seen=form.cleaned_data["last"],
                **form.used(),
            )
        except StaleRow as error:
            return conflict(request, error, resolve_url("scheduling:call", patient.pk))
        except ContactRefused as error:
            form.add_error(error.field or None, str(error))
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            return _go_on(request, made)
    return _page(request, patient, form, status=422)


def _wanted(request: StaffRequest, patient: Patient) -> calls.Booking | None:
    """Read the place that was chosen and what the visit is for; None where none was."""
    # Nobody books by leaving a field away: without a place the call is logged alone.
    if "place" not in request.POST:
        return None
    first = Recall.objects.filter(patient=patient, pk=_key(request, "recall")).first()
    others = beside(first) if first else Recall.objects.none()
    form = BookForm(request.POST, beside=others, patient=patient)
    if first is None or not form.is_valid() or not may(request.user, Act.BOOK):
        raise booking.BookingRefused(_("Choose one of the free places."))
    given = form.cleaned_data
    recalls = [first, *given["also"]]
    return calls.Booking(recalls, given["resource"], given["starts_at"], given["revision"])


def _key(request: StaffRequest, name: str) -> int:
    """Read a key that the form carries; 0, which nobody has, for anything else."""
    given = request.POST.get(name, "")
    return int(given) if given.isdecimal() else 0


def _go_on(request: StaffRequest, made: Call) -> HttpResponse:
    """Hand the person back and go on to the next one, already claimed."""
    request.session[NEXT] = made.pk
    return _next(request, made.patient)


@allow(Act.CONTACT)
@require_POST
def next_call(request: StaffRequest) -> HttpResponse:
    """Claim the next of whom nobody has claimed, and lead to the call; who was open is handed back."""
    left = Patient.objects.filter(pk=_key(request, "left")).first()
    return _next(request, left)


def _next(request: StaffRequest, left: Patient | None) -> HttpResponse:
    if left is not None:
        claims.hand_back(patient=left, by=request.user)
    worklists.bring_up_to_date()
    found = claims.next_to_phone(request.user, after=left.pk if left else None)
    if found is None:
        messages.info(request, _("Nobody else is left to phone now."))
        return redirect("scheduling:today")
    return redirect("scheduling:call", found.pk)


@allow(Act.CONTACT)
@require_POST
def begin(request: StaffRequest, pk: int) -> HttpResponse:
    """Keep that the number was dialled; asked by the page when its link is followed."""
    patient = get_object_or_404(Patient, pk=pk)
    route, _sep, address = request.POST.get("way", "").partition("|")
    # Only a number of this patient: what the page sends here is kept as what was dialled.
    if not patient.routes.filter(kind=route, value=address).exists():
        return JsonResponse({"begun": False}, status=422)
    try:
        calls.begin(patient=patient, by=request.user, route=route, address=address)
    except StaleRow as error:
        return JsonResponse({"begun": False, "why": error.say()}, status=409)
    return JsonResponse({"begun": True})


@allow(Act.CONTACT)
@require_POST
def take_over(request: StaffRequest, pk: int) -> HttpResponse:
    """Take a patient over from whoever has claimed the call."""
    patient = get_object_or_404(Patient, pk=pk)
    form = TakeOverForm(request.POST)
    if form.is_valid():
        claims.take_over(patient=patient, by=request.user, word=form.cleaned_data["word"])
    else:
        messages.error(request, _("Say why you take it over: the other one reads it."))
    return redirect("scheduling:call", patient.pk)


@allow(Act.CONTACT)
@require_POST
def take_back(request: StaffRequest, pk: int) -> HttpResponse:
    """Take a logged call back, with what it booked."""
    found = get_object_or_404(Call.objects.select_related("patient", "appointment"), pk=pk)
    try:
        calls.take_back(call=found, by=request.user)
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:call", found.patient_id))
    except (ContactRefused, booking.BookingRefused) as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Taken back: it stays readable, struck through, and counts no more."))
    return redirect("scheduling:call", found.patient_id)


@allow(Act.CONTACT)
@require_POST
def confirm(request: StaffRequest, pk: int) -> HttpResponse:
    """Record that the patient confirmed an appointment, or take that back."""
    found = get_object_or_404(Appointment.objects.select_related("patient"), pk=pk)
    try:
        confirming.confirm(appointment=found, by=request.user, confirmed="undo" not in request.POST)
    except StaleRow as error:
        return conflict(request, error, resolve_url("scheduling:call", found.patient_id))
    except booking.BookingRefused as error:
        messages.error(request, str(error))
    return redirect("scheduling:call", found.patient_id)
