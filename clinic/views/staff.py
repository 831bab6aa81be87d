"""Accounts of the members of staff, for the administrator."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow
from clinic.forms import LeaveForm, MemberForm
from clinic.models import Leave, Member, StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import conflict, page_form
from clinic.people import leave, staffing
from clinic.people.leave import LeaveRefused


@allow(Act.MANAGE_STAFF)
def staff(request: StaffRequest) -> HttpResponse:
    """List the accounts of the members of staff."""
    page = page_of_rows(Member.objects.order_by("name", "pk"), request)
    return render(request, "clinic/staff.html", {"page": page})


@allow(Act.MANAGE_STAFF)
def add_member(request: StaffRequest) -> HttpResponse:
    """Add an account."""
    form = MemberForm(request.POST or None)
    if form.is_valid():
        staffing.add(by=request.user, **form.cleaned_data)
        return redirect("clinic:staff")
    return page_form(request, form, _("Add a member of staff"), back="clinic:staff", button=_("Add"))


@allow(Act.MANAGE_STAFF)
def amend_member(request: StaffRequest, pk: int) -> HttpResponse:
    """Change an account: name, role, password, whether it may sign in."""
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


@allow(None)
def leaves(request: StaffRequest) -> HttpResponse:
    """Show who is away and who stands in, and note a leave: everybody their own, the administrator anybody's."""
    form = LeaveForm(request.POST or None, by=request.user)
    if form.is_valid():
        try:
            leave.note(by=request.user, **form.cleaned_data)
        except LeaveRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect("clinic:leaves")
    context = {"form": form, "page": page_of_rows(leave.to_come(), request, "page")}
    return render(request, "clinic/leaves.html", context, status=422 if form.errors else 200)


@allow(None)
@require_POST
def withdraw_leave(request: StaffRequest, pk: int) -> HttpResponse:
    """Take a leave back."""
    row = get_object_or_404(Leave.objects.select_related("member"), pk=pk)
    try:
        leave.withdraw(leave=row, by=request.user, revision=RevisionForm(request.POST).seen())
    except StaleRow as error:
        return conflict(request, error, resolve_url("clinic:leaves"))
    return redirect("clinic:leaves")
