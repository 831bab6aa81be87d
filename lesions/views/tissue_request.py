"""The page that asks for a biopsy or an excision, on screen and on one sheet of paper."""

from django.http import HttpResponse
from django.shortcuts import render

from clinic.access import Act, StaffRequest, allow
from lesions.pages import request_page
from lesions.pages.lesion_head import banner, found
from lesions.results import tissue_request as topic


@allow(Act.SEE_PICTURES)
def tissue_request(request: StaffRequest, pk: int) -> HttpResponse:
    """Show what is asked for of a lesion, as a sheet to print; where nothing is, say why."""
    lesion = found(pk)
    # The read is recorded here: whoever prints the sheet has opened this page.
    context = banner(request, lesion.patient, lesion, "request")
    asked = topic.asked_of(lesion, request.user)
    context |= {"asked": asked, "pictures_shown": request.GET.get("pictures") != "no"}
    if asked.signed:
        context |= request_page.sheet(lesion, asked.signed)
    return render(request, "lesions/tissue_request.html", context)
