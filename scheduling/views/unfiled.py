"""The page for a caller whom nobody can find on record."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow
from clinic.duties.ledger import DutyRefused
from clinic.pages.responses import page_form
from scheduling.desk import unfiled
from scheduling.forms import CallerForm


@allow(Act.NOTE_SIGNS)
def unknown_caller(request: StaffRequest) -> HttpResponse:
    """Keep the call of somebody who is not found, before anybody looks further."""
    form = CallerForm(request.POST or None)
    if form.is_valid():
        try:
            duty = unfiled.take(by=request.user, **form.cleaned_data)
        except DutyRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Kept: it stands on Today until it is filed."))
            return redirect("clinic:duty", duty.pk)
    note = _("Look by name, number and day of birth first. What is kept here is filed within a day.")
    more = {"back": "scheduling:today", "button": _("Keep the call"), "note": note}
    return page_form(request, form, _("Somebody rings who is not found"), **more)
