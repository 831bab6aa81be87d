"""Pages of the audit trail: of one patient's record, and of what one member of staff did."""

from collections.abc import Iterable
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render

from clinic.access import Act, StaffRequest, allow
from clinic.forms import StaffTrailForm
from clinic.models import AuditRecord, Patient
from clinic.pages.paging import page_of_rows
from clinic.trail import audit, details


@allow(Act.SEE_TRAIL)
def trail(request: StaffRequest, pk: int) -> HttpResponse:
    """Show who did what with a patient's record, and who looked at it."""
    found = get_object_or_404(Patient, pk=pk)
    audit.read(found, by=request.user, page="trail")
    page = page_of_rows(audit.trail(found), request)
    reads = page_of_rows(audit.reads(found), request, "reads")
    context = {"patient": found, "page": page, "rows": _in_words(page.object_list), "reads": reads}
    return render(request, "clinic/trail.html", context)


@allow(Act.SEE_TRAIL)
def staff_trail(request: StaffRequest) -> HttpResponse:
    """Show what one member of staff did on some days, and whose pages were opened."""
    form = StaffTrailForm(request.GET or None)
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        given = form.cleaned_data
        page = page_of_rows(audit.done_by(**given), request)
        reads = page_of_rows(audit.opened_by(**given), request, "reads")
        context |= {**given, "page": page, "rows": _in_words(page.object_list), "reads": reads}
    return render(request, "clinic/staff_trail.html", context)


def _in_words(rows: Iterable[AuditRecord]) -> list[dict[str, Any]]:
    return [
        {"row": row, "words": audit.words(row.action), "details": details.say(row.details)} for row in rows
    ]
