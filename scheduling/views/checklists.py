"""Page of a published checklist, filled in by a dermatologist from the lesion's page."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow
from lesions.models import Image, Lesion
from lesions.pages.lesion_head import banner, found
from scheduling.checklists import records
from scheduling.checklists.definitions import SHEETS, words_of_threshold
from scheduling.forms import ChecklistForm

PICTURES_OFFERED = 8


@allow(Act.FILL_CHECKLIST)
def fill(request: StaffRequest, pk: int, kind: str) -> HttpResponse:
    """Fill in one published checklist for a lesion; the answers stay, and move no plan."""
    lesion, sheet = found(pk), SHEETS.get(kind)
    if sheet is None:
        raise Http404(kind)
    visits, pictures = records.visits_of(lesion.patient), list(records.pictures_of(lesion)[:PICTURES_OFFERED])
    image = _in_sight(request, lesion, pictures)
    form = ChecklistForm(
        request.POST or None, sheet=sheet, visits=visits, likely=records.likely_visit(visits), image=image
    )
    if form.is_valid():
        try:
            row = records.fill(
                lesion=lesion,
                visit=form.visit(),
                image=image,
                by=request.user,
                kind=kind,
                entries=form.entries(),
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
    context: dict[str, Any] = banner(request, lesion.patient, lesion, "checklist") | {
        "sheet": sheet,
        "form": form,
        "may_fill": bool(visits or image),
        "image": image,
        "pictures": [each for each in pictures if each != image],
        "fields": _fields(form, records.suggestions(image, sheet)),
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "scheduling/checklist.html", context, status=status)


def _in_sight(request: StaffRequest, lesion: Lesion, pictures: list[Image]) -> Image | None:
    """Give the picture that the address names, else the newest."""
    asked = request.GET.get("picture", "")
    if not asked:
        return next(iter(pictures), None)
    if not asked.isdecimal():
        raise Http404(asked)
    return get_object_or_404(records.pictures_of(lesion), pk=asked)


def _fields(form: ChecklistForm, measured: dict[str, Any]) -> list[tuple[Any, Any]]:
    """Show each item with what was measured; after the last that may stay empty, that none is present."""
    last = form.sheet.ticks[-1].name if form.sheet.ticks else ""
    rows: list[tuple[Any, Any]] = []
    for item in form.sheet.items:
        rows.append((form[item.name], measured.get(item.name)))
        if item.name == last:
            rows.append((form["nothing"], None))
    return rows
