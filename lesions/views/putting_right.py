"""The page on which a picture of another lesion or patient is moved to its own, or set aside."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow, may
from clinic.models import StaleRow
from clinic.pages.kept_searches import asked_for, keep
from clinic.pages.responses import conflict
from clinic.people import finding
from lesions.forms import MovePictureForm, PatientSearchForm, SetAsideForm
from lesions.models import Decision, Image, Lesion, LesionState, SignOff
from lesions.pages.lesion_head import banner, lesion_url
from lesions.pictures.intake import PictureRefused
from lesions.register import register
from lesions.review import owed, putting_right

# As many as can be told apart by eye; whoever needs more types more of the name.
_MOST_PATIENTS, _MOST_LESIONS = 10, 60


@allow(Act.ADD_PICTURES)
def put_right(request: StaffRequest, pk: int) -> HttpResponse:
    """Move a picture of another lesion or patient to its own."""
    signed, image = _signed(pk)
    if "who" in request.POST:
        # The name that was typed stays in the session: no address names a patient.
        return redirect(f"{request.path}?search={keep(request, request.POST['who'])}")
    choices = _choices(signed, image, asked_for(request)[1])
    form = MovePictureForm(request.POST or None, choices=choices, initial={"revision": image.revision})
    if form.is_valid():
        lesion = form.cleaned_data["lesion"]
        try:
            putting_right.move(image=image, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, lesion_url(signed.lesion))
        except PictureRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("Moved to lesion %(label)s, %(place)s, of %(name)s.")
                % {"label": lesion.label, "place": register.place_words(lesion), "name": lesion.patient},
            )
            return redirect("lesions:lesion", lesion.pk)
    return _page(request, signed, image, choices, move_form=form)


@allow(Act.SIGN_OFF)
@require_POST
def set_aside(request: StaffRequest, pk: int) -> HttpResponse:
    """Set a picture aside that nobody can place."""
    (signed, image), form = _signed(pk), SetAsideForm(request.POST)
    if form.is_valid():
        try:
            putting_right.set_aside(image=image, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, lesion_url(signed.lesion))
        except PictureRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Set aside."))
            return redirect("lesions:pictures")
    return _page(request, signed, image, _choices(signed, image, ""), aside_form=form)


def _signed(pk: int) -> tuple[SignOff, Image]:
    """Find the signature that called a picture wrong, and that picture."""
    rows = SignOff.objects.filter(decision=Decision.WRONG_SUBJECT)
    rows = rows.select_related("by", "lesion__patient", "review__assessment__image__lesion__patient")
    signed = get_object_or_404(rows, pk=pk)
    if signed.review is None:
        raise Http404
    return signed, signed.review.assessment.image


def _choices(signed: SignOff, image: Image, who: str) -> list[Lesion]:
    """List the other lesions of this patient, and those of the patient who was searched for."""
    found = [row.pk for row in finding.search(who)[:_MOST_PATIENTS]] if who else []
    rows = Lesion.objects.filter(patient__in=[signed.lesion.patient_id, *found])
    # Not back to where a dermatologist has just signed that it does not belong.
    rows = rows.exclude(pk__in=(signed.lesion_id, image.lesion_id)).exclude(state=LesionState.ERROR)
    return list(rows.select_related("patient").order_by("patient", "label")[:_MOST_LESIONS])


def _page(
    request: StaffRequest, signed: SignOff, image: Image, choices: list[Lesion], **bound: Any
) -> HttpResponse:
    start = {"revision": image.revision}
    duty = owed.to_put_right(image)
    context = banner(request, signed.lesion.patient, signed.lesion, "put a picture right") | {
        "signed": signed,
        "image": image,
        "duty": duty,
        "search_form": PatientSearchForm(initial={"who": asked_for(request)[1]}),
        "move_form": bound.get("move_form") or MovePictureForm(choices=choices, initial=start),
        "aside_form": bound.get("aside_form")
        or (SetAsideForm(initial=start) if may(request.user, Act.SIGN_OFF) else None),
    }
    refused = any(form.errors for form in bound.values())
    return render(request, "lesions/put_right.html", context, status=422 if refused else 200)
