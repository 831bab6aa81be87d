"""Accounts of the members of staff, for the administrator."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow
from clinic.forms import MemberForm
from clinic.models import Member
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import page_form
from clinic.people import staffing


@allow(Act.MANAGE_STAFF)
def staff(request: StaffRequest) -> HttpResponse:
    page = page_of_rows(Member.objects.order_by("name", "pk"), request)
    return render(request, "clinic/staff.html", {"page": page})


@allow(Act.MANAGE_STAFF)
def add_member(request: StaffRequest) -> HttpResponse:
    form = MemberForm(request.POST or None)
    if form.is_valid():
        staffing.add(by=request.user, **form.cleaned_data)
        return redirect("clinic:staff")
    return page_form(request, form, _("Add a member of staff"), back="clinic:staff", button=_("Add"))


@allow(Act.MANAGE_STAFF)
def amend_member(request: StaffRequest, pk: int) -> HttpResponse:
    member = get_object_or_404(Member, pk=pk)
    form = MemberForm(request.POST or None, instance=member)
    if form.is_valid():
        data = {key: value for key, value in form.cleaned_data.items() if key != "username"}
        # A fresh row, because the form has written into its own already and the trail must say what was before.
        staffing.amend(member=get_object_or_404(Member, pk=pk), by=request.user, **data)
        return redirect("clinic:staff")
    return page_form(
        request, form, _("Change %(name)s") % {"name": member}, back="clinic:staff", button=_("Save")
    )
