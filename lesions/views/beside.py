"""Beside the decision page: what a browser reports (a look, a draft, an impression), and the sheets a key away."""

from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow
from clinic.models import Member
from clinic.people import risk
from lesions.looking import drafts, showing
from lesions.looking.drafts import NothingWaits
from lesions.looking.showing import NotShown
from lesions.models import Review
from lesions.pages import decision_page
from lesions.pages.lesion_head import banner
from lesions.review import outside, reviews


@allow(Act.SEE_PICTURES)
@require_POST
def look(request: StaffRequest, pk: int) -> HttpResponse:
    """Record a look: the browser says that both pictures stand there; the masthead's counts go back with the answer."""
    get_object_or_404(Review, pk=pk)
    try:
        # The seal and not the browser says what was shown: a look is evidence, and a browser can be made to say
        # anything.
        shown = showing.unseal(request.POST.get("seal", ""), by=request.user, review_id=pk)
    except NotShown as error:
        return JsonResponse({"error": str(error)}, status=409)
    showing.record_look(shown=shown, by=request.user)
    return JsonResponse({"places": render_to_string("clinic/_places.html", request=request)}, status=201)


@allow(Act.SIGN_OFF)
@require_POST
def draft(request: StaffRequest, pk: int) -> HttpResponse:
    """Keep what is filled in so far, sent while somebody thinks."""
    review = get_object_or_404(Review, pk=pk)
    try:
        drafts.keep(review=review, by=request.user, said=request.POST)
    except NothingWaits:
        return JsonResponse({}, status=409)
    return JsonResponse({})


@allow(Act.SIGN_OFF)
@require_POST
def impression(request: StaffRequest, pk: int) -> HttpResponse:
    """Keep the first impression; figures and reasons stand on the page from then on."""
    review = get_object_or_404(Review, pk=pk)
    try:
        drafts.key_impression(review=review, by=request.user, impression=request.POST.get("impression", ""))
    except NothingWaits:
        pass  # the page says who decided meanwhile
    except ValueError:
        return HttpResponse(status=422)
    return redirect(decision_page.address(pk, decision_page.list_of(request)))


@allow(Act.SIGN_OFF)
@require_POST
def look_first(request: StaffRequest) -> HttpResponse:
    """Switch looking first on or off for whoever wants it, until the next press or the end of the session."""
    request.session["look_first"] = not request.session.get("look_first", False)
    review = get_object_or_404(Review, pk=request.POST.get("review") or 0)
    return redirect(decision_page.address(review.pk, decision_page.list_of(request)))


def _history(review: Review, reader: Member) -> dict[str, Any]:
    lesion = review.lesion
    # What was signed on this very picture is left out for whoever reads it second, who is to judge without it.
    signed = reviews.decisions_before(review, reader).filter(lesion=lesion)
    return {
        "signoffs": list(signed.select_related("by", "revoked").prefetch_related("addenda")),
        "diagnoses": list(lesion.diagnoses.all()),
        "procedures": list(lesion.procedures.all()),
        "asked_outside": list(outside.about(lesion.pk)),
        "signs_noted": list(lesion.urgent_signs.select_related("by")),
    }


def _risk(review: Review, reader: Member) -> dict[str, Any]:
    found = risk.current(review.lesion.patient)
    return {"tier": found, "tier_context": risk.context_of(found) if found else []}


def _body(review: Review, reader: Member) -> dict[str, Any]:
    lesion = review.lesion
    overview = lesion.images.filter(kind="overview", set_aside=False).order_by("-taken_on", "-pk").first()
    mark = {"view": lesion.view, "x": lesion.x, "y": lesion.y, "number": lesion.label, "label": lesion.label}
    return {"marks": [mark], "overview": overview}


SHEETS = {"history": _history, "risk": _risk, "body": _body}


@allow(Act.SEE_PICTURES)
def sheet(request: StaffRequest, pk: int, what: str) -> HttpResponse:
    """Show history, risk, or the place on the body: a page of its own, which a script lays over the pictures."""
    if what not in SHEETS:
        raise Http404
    review = get_object_or_404(Review.objects.select_related("lesion__patient", "assessment"), pk=pk)
    lesion = review.lesion
    context = banner(request, lesion.patient, lesion, f"decision, {what}") | SHEETS[what](
        review, request.user
    )
    of = decision_page.list_of(request)
    context |= {
        "review": review,
        "back": decision_page.address(pk, of),
        "sheet": f"lesions/_sheet_{what}.html",
    }
    return render(request, "lesions/sheet.html", context)
