"""A worried patient rings: find who it is, then write down what was said."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.models import Patient, StaleRow
from clinic.pages import registering
from clinic.pages.responses import conflict
from clinic.people import finding
from clinic.trail import audit
from lesions.models import Lesion, LesionState
from lesions.register.subjects import lesion_words
from scheduling.call_forms import WorriedForm
from scheduling.desk import booking, worried
from scheduling.diary_forms import PlaceForm
from scheduling.forms import CallerForm
from scheduling.recalls import wording

SHOWN = 12
# One that is called gone stays: that it is back is just what somebody would ring about.
_NOT_RUNG_ABOUT = (LesionState.REMOVED, LesionState.ERROR)


@allow(Act.NOTE_SIGNS)
@sensitive_post_parameters("words")
def who(request: StaffRequest) -> HttpResponse:
    """Find the caller; no name stands in an address, so what was typed is posted."""
    words = request.POST.get("words", "").strip()
    found = list(finding.search(words)[:SHOWN]) if words else []
    # Who rings is worried now: with one person found nobody is asked to choose.
    if len(found) == 1:
        return redirect("scheduling:worried", found[0].pk)
    context = {
        "words": words,
        "found": found,
        "shared": finding.shared_names(found) if found else set(),
        "form": CallerForm(initial={"name": words}),
        "may_register": may(request.user, Act.REGISTER_PATIENTS),
    }
    return render(request, "scheduling/worried_who.html", context)


@allow(Act.REGISTER_PATIENTS)
@require_POST
@sensitive_post_parameters("name", "number", "words")
def register_caller(request: StaffRequest) -> HttpResponse:
    """Register the caller first; what was typed of the call is there again with whoever was registered."""
    said: dict[str, Any] = {name: request.POST.get(name, "").strip() for name in ("name", "number", "words")}
    said["signs"] = request.POST.getlist("signs")
    return redirect(registering.address(request, "worried", said))


@allow(Act.NOTE_SIGNS)
def note(request: StaffRequest, pk: int) -> HttpResponse:
    """Write down what a worried caller said, and book the place that was agreed."""
    patient = get_object_or_404(Patient, pk=pk, merged_into__isnull=True)
    lesions = patient.lesions.exclude(state__in=_NOT_RUNG_ABOUT).order_by("label")
    said, offered = registering.typed(request), [(str(row.pk), lesion_words(row)) for row in lesions]
    first = {name: said[name] for name in ("words", "signs") if name in said}
    form = WorriedForm(request.POST or None, initial=first, lesions=offered)
    if form.is_valid():
        try:
            noted = _note(request, patient, form)
        except StaleRow as error:
            return conflict(request, error, resolve_url("scheduling:worried", pk))
        except worried.WorryRefused as error:
            form.add_error(error.field, str(error))
        except booking.BookingRefused as error:
            form.add_error(None, str(error))
        else:
            _say(request, patient, noted)
            # Without a place the caller is still on the line: on to the call, where one is booked.
            return redirect("clinic:patient" if noted.appointment else "scheduling:call", pk)
    audit.read(patient, by=request.user, page="worried")
    return render(
        request,
        "scheduling/worried.html",
        _context(request, patient, form),
        status=422 if form.errors else 200,
    )


def _note(request: StaffRequest, patient: Patient, form: forms.Form) -> worried.Noted:
    given = form.cleaned_data
    about = get_object_or_404(Lesion, pk=given["lesion"], patient=patient) if given["lesion"] else None
    place = None
    if request.POST.get("place") and may(request.user, Act.BOOK):
        chosen = PlaceForm(request.POST)
        if not chosen.is_valid():
            raise booking.BookingRefused(_("Choose one of the free places."))
        place = (chosen.cleaned_data["resource"], chosen.cleaned_data["starts_at"])
    said = {"words": given["words"], "signs": given["signs"], "lesion": about, "place": place}
    return worried.note(patient=patient, by=request.user, **said)


def _say(request: StaffRequest, patient: Patient, noted: worried.Noted) -> None:
    if noted.appointment:
        said = _("Noted as urgent, and booked: %(what)s.")
        messages.success(request, said % {"what": wording.appointment_words(noted.appointment)})
    else:
        messages.success(request, _("Noted as urgent; no place is booked yet."))


def _context(request: StaffRequest, patient: Patient, form: forms.Form) -> dict[str, Any]:
    today = clock.today()
    offered = worried.places_soon() if may(request.user, Act.BOOK) else []
    return {
        "patient": patient,
        "namesakes": list(finding.namesakes(patient)[:3]),
        "form": form,
        "offered": offered,
        "none_today": not any(timezone.localdate(one.starts_at) == today for one in offered),
        "chosen": request.POST.get("place", ""),
    }
