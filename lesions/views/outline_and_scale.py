"""Points set by hand over a photograph: the outline of the lesion, and a scale from two points."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow
from clinic.models import StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import conflict
from lesions.forms import OutlineForm, ScaleForm, as_lines
from lesions.measuring import measure
from lesions.models import Assessment, Image, ImageKind
from lesions.pages.lesion_head import banner, lesion_url
from lesions.pictures import outlines, polygons, scales
from lesions.pictures.outlines import OutlineRefused
from lesions.pictures.scales import ScaleRefused
from lesions.review import wording


def _found(pk: int) -> Image:
    # An overview shows where lesions lie; an outline on it would be measured at the wrong scale.
    pictures = Image.objects.select_related("lesion__patient").exclude(kind=ImageKind.OVERVIEW)
    return get_object_or_404(pictures, pk=pk)


@allow(Act.ADD_PICTURES)
def outline(request: StaffRequest, pk: int) -> HttpResponse:
    """Draw the outline of a lesion by hand; the picture is measured anew by it."""
    image = _found(pk)
    form = OutlineForm(request.POST or None)
    if form.is_valid():
        try:
            outlines.draw(image=image, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, lesion_url(image.lesion))
        except OutlineRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The outline is kept; the picture is being measured by it."))
            return redirect("lesions:lesion", image.lesion_id)
    return _outline_page(request, image, form)


def _outline_page(request: StaffRequest, image: Image, form: OutlineForm) -> HttpResponse:
    used, automatic = outlines.measured(image), _automatic(image)
    ring = outlines.ring_of(used)
    # A person's ring point for point, the program's thinned: nobody moves four hundred points by hand.
    start = ring if used and used.drawn_by else polygons.thinned(ring)
    if not form.is_bound:
        form = OutlineForm(initial={"points": as_lines(start), "revision": image.revision})
    context = {
        "used": used,
        "ring": start,
        "automatic": as_lines(polygons.thinned(outlines.ring_of(automatic))),
        "doubts": wording.doubts_of(automatic.result if automatic else None),
        "most": polygons.MOST_POINTS,
        "closed": True,
    }
    return _page(request, image, form, "outline", context)


def _automatic(image: Image) -> Assessment | None:
    done = image.assessments.filter(state="done", drawn_by__isnull=True)
    return done.order_by("-pk").first()


@allow(Act.ADD_PICTURES)
def scale(request: StaffRequest, pk: int) -> HttpResponse:
    """Set the scale of a picture by two marks of a ruler in it; the picture is measured anew."""
    image = _found(pk)
    form = ScaleForm(request.POST or None)
    if form.is_valid():
        try:
            scales.set_by_hand(image=image, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, lesion_url(image.lesion))
        except ScaleRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The scale is set; the picture is being measured by it."))
            return redirect("lesions:lesion", image.lesion_id)
    if not form.is_bound:
        form = ScaleForm(initial={"revision": image.revision})
    used = outlines.measured(image)
    found = used.result["scale"] if used and used.result else None
    return _page(request, image, form, "scale", {"found": found, "most": 2})


def _page(
    request: StaffRequest, image: Image, form: OutlineForm | ScaleForm, what: str, more: dict[str, Any]
) -> HttpResponse:
    """Show the photograph, the points over it, and the same points as text; both pages are made so."""
    context = banner(request, image.lesion.patient, image.lesion, what) | more
    context |= {"image": image, "form": form, "back": lesion_url(image.lesion)}
    return render(request, f"lesions/{what}.html", context, status=422 if form.is_bound else 200)


@allow(Act.ADD_PICTURES)
@require_POST
def measure_again(request: StaffRequest, pk: int) -> HttpResponse:
    """Have a picture measured again whose measuring failed."""
    row = get_object_or_404(Assessment.objects.select_related("image__lesion__patient"), pk=pk)
    try:
        measure.measure_again(assessment=row, by=request.user, revision=RevisionForm(request.POST).seen())
    except StaleRow as error:
        return conflict(request, error, lesion_url(row.image.lesion))
    messages.success(request, _("The picture waits to be measured again."))
    return redirect("lesions:pictures")
