"""Page of a published checklist, filled in by a dermatologist from the lesion's page."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow
from lesions.models import ImageKind
from lesions.pages.lesion_head import banner, found
from scheduling.checklists import records
from scheduling.checklists.definitions import SHEETS, words_of_threshold
from scheduling.forms import ChecklistForm


@allow(Act.FILL_CHECKLIST)
def fill(request: StaffRequest, pk: int, kind: str) -> HttpResponse:
    """Fill in one published checklist for a lesion; the answers stay, and move no plan."""
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
            messages.success(
                request,
                _("%(checklist)s, lesion %(label)s: %(words)s")
                % {
                    "checklist": row.get_kind_display(),
                    "label": lesion.label,
                    "words": words_of_threshold(row),
                },
            )
            return redirect("lesions:lesion", pk)
    pictures = lesion.images.exclude(kind=ImageKind.OVERVIEW).filter(set_aside=False)
    context: dict[str, Any] = banner(request, lesion.patient, lesion, "checklist") | {
        "sheet": sheet,
        "form": form,
        "visits": visits,
        "image": pictures.order_by("-taken_on", "-pk").first(),
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
