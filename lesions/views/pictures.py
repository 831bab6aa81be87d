"""Pages of pictures: take them in one by one, serve the cleaned copy to those who may see it, list what waits."""

from functools import partial
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.core.paginator import Page
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from clinic.access import Act, StaffRequest, allow, may
from clinic.duties.kinds import OwningList
from clinic.models import StaleRow
from clinic.pages import duty_list, duty_rows
from clinic.pages.fields import RevisionForm
from clinic.pages.kept_order import page_of
from clinic.pages.responses import conflict
from clinic.pages.said import Said
from lesions.forms import PicturesForm
from lesions.models import Comparison, Image, Lesion, RefusedUpload
from lesions.pages import picture_rows
from lesions.pages.lesion_head import found, lesion_url
from lesions.pictures import intake, storage
from lesions.pictures.intake import AlreadyFiled, PictureRefused
from lesions.review import waiting
from lesions.views.register import lesion_page


@allow(Act.ADD_PICTURES)
@require_POST
def add_pictures(request: StaffRequest, pk: int) -> HttpResponse:
    """Take one file from a script, or several from a plain form: every file has its own result."""
    lesion = found(pk)
    form = PicturesForm(request.POST, request.FILES)
    wants_json = "application/json" in request.headers.get("Accept", "")
    if not form.is_valid():
        refusal = {"ok": False, "error": form.faults(), "url": ""}
        return JsonResponse(refusal, status=422) if wants_json else lesion_page(request, lesion, form)
    files = form.cleaned_data["picture"]
    faults = [(file.name, _take(request, lesion, file, form.about())) for file in files]
    if wants_json:
        error = next((fault for _name, fault in faults if fault), "")
        answer = {"ok": not error, "error": error, "url": lesion_url(lesion)}
        return JsonResponse(answer, status=422 if error else 201)
    for name, fault in faults:
        if fault:
            messages.error(request, f"{intake.tidy_name(name)}: {fault}")
        else:
            said = _("%(file)s is filed and waits to be measured.")
            messages.success(request, said % {"file": intake.tidy_name(name)})
    return redirect("lesions:lesion", pk)


def _take(request: StaffRequest, lesion: Lesion, file: "UploadedFile[Any]", about: dict[str, Any]) -> str:
    """File one picture; returns why it was not, in a sentence, or nothing."""
    name = file.name or ""
    try:
        intake.check_size(file.size or 0)
        # One byte beyond the limit is enough to know, whatever size the browser claimed.
        data = file.read(settings.PICTURE_MAX_BYTES + 1)
        intake.accept(lesion=lesion, by=request.user, data=data, filename=name, **about)
    # The same file once more is no refusal that somebody must look into: the picture is here.
    except AlreadyFiled as error:
        return str(error)
    except PictureRefused as error:
        intake.refuse(lesion=lesion, by=request.user, filename=name, why=error.message)
        return str(error)
    return ""


@allow(Act.SEE_PICTURES)
@require_GET
def view_image(request: StaffRequest, pk: int) -> HttpResponseBase:
    """Serve the cleaned copy, never the original. A small place on a page (`?thumb=1`) counts as no look, nor does
    what a script fetches before its turn (`X-Ahead`); a copy that the browser kept is asked for again and counts."""
    image = get_object_or_404(Image, pk=pk)
    answer = _private_file(request, image.derivative_sha256, "image/jpeg", f"picture-{image.pk}.jpg")
    if "thumb" not in request.GET and "X-Ahead" not in request.headers:
        intake.deliver(image=image, to=request.user)
    return answer


@allow(Act.SEE_PICTURES)
@require_GET
def change_map(request: StaffRequest, pk: int) -> HttpResponseBase:
    """Serve the drawn change map of a comparison; looking at it is no look at the two pictures."""
    comparison = get_object_or_404(Comparison.objects.exclude(map_sha256=""), pk=pk)
    return _private_file(request, comparison.map_sha256, "image/png", f"change-{comparison.pk}.png")


def _private_file(request: StaffRequest, sha: str, content_type: str, filename: str) -> HttpResponseBase:
    try:
        file = storage.open_file(sha)
    except FileNotFoundError:
        raise Http404(_("The stored picture is missing; restore it from the backup.")) from None
    etag = f'"{sha}"'
    known = get_conditional_response(request, etag=etag)
    if known is None:
        response: HttpResponseBase = FileResponse(file, content_type=content_type, filename=filename)
    else:
        response = known
        file.close()
    response["ETag"] = etag
    # Kept by the browser but asked for each time: the right to see it and the look itself are checked here.
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    return response


@allow(Act.SEE_WORKLIST)
def pictures(request: StaffRequest) -> HttpResponse:
    """List what is left to do, each kind with its own pages; the masthead has counted them already.

    It shows no picture: who only sees what is late has no way from here to one either.
    """
    queued, failed, refused = (_section(request, name) for name in waiting.HELD[OwningList.PICTURES])
    said = Said()
    context = {
        "waiting": queued,
        "waiting_rows": picture_rows.to_measure(queued.object_list, said),
        "failed": failed,
        "failed_rows": picture_rows.not_measured(failed.object_list, said),
        "refused": refused,
        "refused_rows": picture_rows.refused(refused.object_list, said),
        "may_settle": may(request.user, Act.ADD_PICTURES),
        "may_see": may(request.user, Act.SEE_PICTURES),
        "filed": duty_rows.kept_answer("filed", request),
        "duties": duty_list.page_of_list(OwningList.PICTURES, request),
    }
    return render(request, "lesions/pictures.html", context)


def _section(request: StaffRequest, name: str) -> "Page[Any]":
    return page_of(
        name, partial(picture_rows.shown, name), request, name=name, count=duty_rows.count_of(name, request)
    )


@allow(Act.ADD_PICTURES)
@require_POST
def settle(request: StaffRequest, pk: int) -> HttpResponse:
    """Say that a refused file is dealt with: it leaves the list of Pictures."""
    row = get_object_or_404(RefusedUpload.objects.select_related("lesion__patient"), pk=pk)
    try:
        intake.settle(refused=row, by=request.user, revision=RevisionForm(request.POST).seen())
    except StaleRow as error:
        return conflict(request, error, lesion_url(row.lesion))
    messages.success(request, _("%(file)s is settled.") % {"file": row.filename})
    return redirect("lesions:pictures")
