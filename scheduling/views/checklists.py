"""Page of a published checklist, filled in by a dermatologist from the lesion's page."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from clinic.access import Act, allow
from lesions.pages.lesion_head import banner, found
from scheduling.checklists import records
from scheduling.checklists.definitions import SHEETS
from scheduling.forms import ChecklistForm


@allow(Act.FILL_CHECKLIST)
def fill(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    lesion, sheet = found(pk), SHEETS.get(kind)
    if sheet is None:
        raise Http404(kind)
    visits = records.visits_of(lesion.patient)
    form = ChecklistForm(
        request.POST or None, sheet=sheet, visits=visits, likely=records.likely_visit(visits)
    )
    if form.is_valid():
        try:
            row = records.fill(
                lesion=lesion, visit=form.visit(), by=request.user, kind=kind, entries=form.entries()
            )
        except records.ChecklistRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{row.get_kind_display()}, lesion {lesion.label}: {row.words}")
            return redirect("lesions:lesion", pk)
    context: dict[str, Any] = banner(request, lesion.patient, lesion, "checklist") | {
        "sheet": sheet,
        "form": form,
        "visits": visits,
        "fields": _fields(form, records.suggestions(lesion, sheet)),
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "scheduling/checklist.html", context, status=status)


def _fields(form: ChecklistForm, measured: dict[str, Any]) -> list[tuple[Any, Any]]:
    """Show each item with what was measured; after the last that may stay empty, that none is present."""
    last = form.sheet.ticks[-1].name if form.sheet.ticks else ""
    rows: list[tuple[Any, Any]] = []
    for item in form.sheet.items:
        rows.append((form[item.name], measured.get(item.name)))
        if item.name == last:
            rows.append((form["nothing"], None))
    return rows
