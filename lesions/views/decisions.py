"""The page on which a decision is signed: look, say, sign, and the next item stands there already."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow, require
from clinic.pages.responses import conflict
from lesions.forms import AddendumForm, BedsideForm, DecisionForm, SignOffForm
from lesions.looking import foresight, queue, showing
from lesions.looking.showing import NotShown, Shown
from lesions.models import Decision, Lesion, Review, SignOff
from lesions.pages import decision_facts, decision_page
from lesions.pages.lesion_head import about_lesion, found, lesion_url
from lesions.register import register
from lesions.review import consequences, dissent, signoff, taking_back
from lesions.review.consequences import Consequences
from lesions.review.signoff import AskedFirst, SignOffRefused, StaleReview

# What stands round the page.
WHOLE = "clinic/base.html"


@allow(Act.SEE_PICTURES)
def decision(request: StaffRequest, pk: int) -> HttpResponse:
    """Show the pictures of a lesion and sign a decision; `step=say` writes out what would follow and signs nothing."""
    if request.method != "POST":
        return _shows(request, pk)
    review = get_object_or_404(Review.objects.select_related("lesion__patient"), pk=pk)
    # Asked here, because the same address is read by nurses, who may see a decision and sign none.
    require(request.user, Act.SIGN_OFF)
    form = SignOffForm(request.POST)
    if request.POST.get("step") == "say":
        return _say(request, review, form)
    if not form.is_valid():
        return _page(request, review, form)
    # Whoever examined the patient has an impression already, and a better one than of a photograph.
    if decision_page.wants_impression(request, review) and not form.cleaned_data["in_person"]:
        form.add_error(None, _("Key your first impression before you sign."))
        return _page(request, review, form)
    return _sign(request, review, form)


def _sign(request: StaffRequest, review: Review, form: SignOffForm) -> HttpResponse:
    # Found before the signature: afterwards this item has left the list, and with it its place in the order.
    following = _following(request, review)
    try:
        signed = signoff.record(
            review_id=review.pk,
            by=request.user,
            shown=_shown(request, review),
            tools=request.POST.get("tools", "").split(),
            **form.cleaned_data,
        )
    # Two looked at once: the second reads what the first one signed, and may dissent; nothing is merged.
    except StaleReview:
        return _somebody_else(request, review.pk, form.cleaned_data)
    except AskedFirst as error:
        form.ask(error.questions)
    except (SignOffRefused, NotShown) as error:
        form.add_error(None, str(error))
    else:
        return _next(request, signed, following)
    return _page(request, review, form)


def _shown(request: StaffRequest, review: Review) -> Shown | None:
    """Read what the page says that it showed; a form without a seal speaks of the review's own pictures."""
    sealed = request.POST.get("seal", "")
    return showing.unseal(sealed, by=request.user, review_id=review.pk) if sealed else None


def _following(request: StaffRequest, review: Review) -> int | None:
    """Give the next item of the list that was come from, if any is left.

    The page that is signed names the item whose pictures it has fetched; it comes next if it still waits.
    """
    of = decision_page.list_of(request)
    rows = queue.unflagged() if of else queue.decisions_of(request.user)
    named = request.POST.get("next", "")
    if named.isdecimal() and named != str(review.pk) and queue.still_waits(int(named), rows):
        return int(named)
    return queue.place_of(review, rows).following


def _next(request: StaffRequest, signed: SignOff, following: int | None) -> HttpResponse:
    """Go on to the next item, whose page says what was signed; to the list only where nothing is left in it."""
    of = decision_page.list_of(request)
    if following is None:
        said = {"decision": signed.get_decision_display(), "patient": signed.lesion.patient}
        messages.success(request, _("Signed: %(decision)s, for %(patient)s.") % said)
        return redirect("lesions:unflagged" if of else "lesions:decisions")
    if "X-Next" not in request.headers:
        return redirect(decision_page.address(following, of))
    # A script gets the next page in this answer: asking for it once more would cost whoever waits a round trip.
    answer = _shows(request, following, shell="lesions/_next.html")
    answer["Content-Location"] = decision_page.address(following, of)
    return answer


def _shows(request: StaffRequest, pk: int, shell: str = WHOLE) -> HttpResponse:
    review = get_object_or_404(decision_facts.reviews_for(request.user), pk=pk)
    form = SignOffForm(initial={"revision": review.revision})
    return render(
        request, "lesions/decision.html", decision_page.build(request, review, form) | {"shell": shell}
    )


def _say(request: StaffRequest, review: Review, form: SignOffForm) -> HttpResponse:
    """Write out what would be signed and what would follow; nothing is signed."""
    follows = _consequences(review, form) if form.is_valid() else None
    if "application/json" not in request.headers.get("Accept", ""):
        return _page(request, review, form, follows)
    if follows is None:
        return JsonResponse({"errors": _faults(form)}, status=422)
    # The same words as without a script, made by the same template.
    shown = render(request, "lesions/_consequences.html", _spoken(review, form, follows))
    return JsonResponse({"html": shown.content.decode(), "asked": bool(follows.asked)})


def _consequences(review: Review, form: DecisionForm) -> Consequences:
    said = {name: form.cleaned_data[name] for name in ("decision", "months", "note")}
    return consequences.foresee(review.lesion, urgent=review.urgent, **said)


def _spoken(review: Review, form: DecisionForm, follows: Consequences) -> dict[str, Any]:
    said = form.cleaned_data
    return {
        "consequences": follows,
        "decision": Decision(said["decision"]),
        "months": said["months"],
        "in_person": said["in_person"],
        "lesion": review.lesion,
        "place": register.place_words(review.lesion),
    }


def _faults(form: SignOffForm) -> dict[str, str]:
    return {name: " ".join(str(text) for text in texts) for name, texts in form.errors.items()}


def _somebody_else(request: StaffRequest, pk: int, said: dict[str, Any]) -> HttpResponse:
    """Show what stands now beside what was about to be signed, with the road on: a dissent."""
    review = Review.objects.select_related("lesion", "signoff__by").get(pk=pk)
    signed = getattr(review, "signoff", None)
    stands = {"decision": signed.get_decision_display(), "by": signed.by} if signed else {}
    now = _("%(decision)s, signed by %(by)s") % stands if signed else review.get_state_display()
    yours = Decision(said["decision"]).label
    kept = {name: said[name] or "" for name in ("decision", "months", "note")}
    return conflict(
        request,
        StaleReview(review),
        lesion_url(review.lesion),
        template="lesions/decision_conflict.html",
        what=_("Somebody else decided on this lesion, or another picture came. Nothing of yours was saved."),
        changes=[{"label": _("Decision"), "yours": yours, "now": now}],
        signed=signed,
        yours=yours,
        kept=kept,
    )


@allow(Act.SIGN_OFF)
@require_POST
def dissent_from(request: StaffRequest, pk: int) -> HttpResponse:
    """Keep the other decision, and say what becomes of it."""
    signed = get_object_or_404(SignOff.objects.select_related("lesion__patient", "by"), pk=pk)
    form = DecisionForm(request.POST)
    if not form.is_valid():
        return about_lesion(request, signed.lesion, form, _("Dissent from a decision"), _("Dissent"))
    said = {name: form.cleaned_data[name] for name in ("decision", "months", "note")}
    try:
        kept = dissent.record(signed=signed, by=request.user, **said)
    except SignOffRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _DISSENTED[bool(kept.stands)])
    return redirect("lesions:lesion", signed.lesion_id)


_DISSENTED = {
    False: gettext_lazy("Your dissent stands beside the decision."),
    True: gettext_lazy("Your dissent is the stricter decision: it was signed and stands."),
}


def _page(
    request: StaffRequest, review: Review, form: SignOffForm, follows: Consequences | None = None
) -> HttpResponse:
    """Show the page as it was filled in: with what is wrong, or with what would follow."""
    found = decision_facts.reviews_for(request.user).get(pk=review.pk)
    context = decision_page.build(request, found, form, follows) | {"shell": WHOLE}
    if follows:
        context |= _spoken(review, form, follows)
    return render(request, "lesions/decision.html", context, status=422 if form.errors else 200)


_USUAL: tuple[tuple[str, int | None], ...] = (
    (Decision.REASSURE, None),
    (Decision.LOOK_AGAIN, 3),
    (Decision.LOOK_AGAIN, 6),
    (Decision.LOOK_AGAIN, 12),
    (Decision.BIOPSY, None),
    (Decision.EXCISE, None),
    (Decision.REFER, None),
    (Decision.ALREADY_REMOVED, None),
)


def _follows(lesion: Lesion, form: DecisionForm) -> list[dict[str, Any]]:
    """Say which day of the plan each usual decision leads to, or the one that is filled in, before it is signed."""
    chosen = form.supposed() if form.is_bound else None
    supposed = [chosen] if chosen else list(_USUAL)
    # At hand only: eight plans for a page that is just opened would keep whoever waits for it waiting.
    found = foresight.foresee(lesion, supposed, at_hand=chosen is None)
    return [
        {
            "decision": Decision(decision),
            "label": _label(decision, months),
            "months": months,
            "words": seen.words,
        }
        for (decision, months), seen in zip(supposed, found, strict=bool(found))
    ]


def _label(decision: str, months: int | None) -> str:
    said = {"decision": Decision(decision).label, "months": months}
    if months is None:
        return str(said["decision"])
    return ngettext("%(decision)s (%(months)s month)", "%(decision)s (%(months)s months)", months) % said


def _after(months: int | None, words: str) -> str:
    if months is None:
        return words
    said = {"months": months, "words": words}
    return ngettext("%(months)s month: %(words)s", "%(months)s months: %(words)s", months) % said


def _words_by_decision(rows: list[dict[str, Any]]) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for row in rows:
        said = [_after(row["months"], words) for words in row["words"]]
        found.setdefault(row["decision"].value, []).extend(said)
    return {value: "; ".join(words) for value, words in found.items()}


@allow(Act.SIGN_OFF)
def decide_in_person(request: StaffRequest, pk: int) -> HttpResponse:
    """Sign a decision made in the clinic, without pictures."""
    lesion = found(pk)
    form = BedsideForm(request.POST or None)
    if form.is_valid():
        try:
            signoff.decide_in_person(lesion=lesion, by=request.user, **form.cleaned_data)
        except AskedFirst as error:
            form.ask(error.questions)
        except SignOffRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect("lesions:lesion", pk)
    form.say_what_follows(_words_by_decision(_follows(lesion, form)))
    note = _("Decided in the clinic, without pictures. Pictures that wait for a decision go on waiting.")
    return about_lesion(request, lesion, form, _("Decide in person"), _("Sign"), note=note)


@allow(Act.SIGN_OFF)
@require_POST
def take_back(request: StaffRequest, pk: int) -> HttpResponse:
    """Take a signature back, within ten minutes."""
    signed = get_object_or_404(SignOff.objects.select_related("lesion__patient"), pk=pk)
    try:
        taking_back.take_back(signed=signed, by=request.user)
    except SignOffRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request, _("Taken back: what it moved stands as before, and the lesion waits again.")
        )
    return redirect("lesions:lesion", signed.lesion_id)


@allow(Act.SIGN_OFF)
@require_POST
def add_addendum(request: StaffRequest, pk: int) -> HttpResponse:
    """Add to a signed decision, which itself never changes."""
    signed = get_object_or_404(SignOff.objects.select_related("lesion__patient"), pk=pk)
    form = AddendumForm(request.POST)
    if not form.is_valid():
        return about_lesion(request, signed.lesion, form, _("Add to a decision"), _("Add"))
    signoff.add_addendum(signoff=signed, by=request.user, **form.cleaned_data)
    return redirect(reverse("lesions:lesion", args=[signed.lesion_id]))
