"""Name a reader outside the clinic, and enter what they said."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow
from lesions.forms import AskOutsideForm, OutsideAnswerForm
from lesions.models import OutsideReading, Review, ReviewState
from lesions.pages.lesion_head import about_lesion
from lesions.review import outside
from lesions.review.outside import OutsideRefused


@allow(Act.SIGN_OFF)
def ask_outside(request: StaffRequest, pk: int) -> HttpResponse:
    """Name a reader outside the clinic who is asked about a lesion."""
    review = get_object_or_404(Review.objects.select_related("lesion__patient"), pk=pk)
    form = AskOutsideForm(request.POST or None)
    if form.is_valid():
        try:
            outside.ask(review=review, by=request.user, **form.cleaned_data)
        except OutsideRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect("lesions:decision", pk)
    note = _(
        "The lesion keeps waiting in Decisions. You send the pictures yourself; what comes back is entered here."
    )
    return about_lesion(
        request, review.lesion, form, _("Ask a reader outside the clinic"), _("Ask"), note=note
    )


@allow(Act.SIGN_OFF)
def answer_outside(request: StaffRequest, pk: int) -> HttpResponse:
    """Enter what a reader outside the clinic said."""
    reading = get_object_or_404(OutsideReading.objects.select_related("lesion__patient"), pk=pk)
    form = OutsideAnswerForm(request.POST or None)
    if form.is_valid():
        try:
            outside.answer(reading=reading, by=request.user, **form.cleaned_data)
        except OutsideRefused as error:
            form.add_error(None, str(error))
        else:
            return _back(reading)
    title = _("What %(reader)s said") % {"reader": reading.reader}
    note = _("It signs nothing: whoever decides reads it beside the pictures.")
    return about_lesion(request, reading.lesion, form, title, _("Enter"), note=note)


def _back(reading: OutsideReading) -> HttpResponse:
    """Lead back to the decision that still waits, or to the lesion where it was decided meanwhile."""
    waits = Review.objects.filter(lesion=reading.lesion_id, state=ReviewState.WAITING).first()
    return redirect("lesions:decision", waits.pk) if waits else redirect("lesions:lesion", reading.lesion_id)
