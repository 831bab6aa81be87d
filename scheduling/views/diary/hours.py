"""The hours that the diary is made of: opened, closed for a day."""

from django.http import HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow
from clinic.pages.responses import page_form
from scheduling.desk import bookable, booking
from scheduling.diary_forms import ClosureForm, HoursForm
from scheduling.models import Resource


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
