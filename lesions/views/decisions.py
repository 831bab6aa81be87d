"""Pages of Decisions: what waits for a dermatologist, and where a decision is signed."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic import clock, policies
from clinic.access import Act, allow, may, require
from clinic.duties import limits, proposals
from clinic.duties.kinds import OwningList
from clinic.models import PolicyKind
from clinic.pages import duty_rows
from clinic.pages.responses import PAGE, conflict
from clinic.people import patients as people
from lesions.analysis.compare.panes import Pane
from lesions.forms import AddendumForm, BedsideForm, DecisionForm, SignOffForm
from lesions.limits import flags
from lesions.measuring import comparing, figures
from lesions.models import UNFINISHED, Assessment, Comparison, Decision, Lesion, Review, ReviewState, SignOff
from lesions.pages.lesion_head import about_lesion, banner, found, lesion_url
from lesions.register import register
from lesions.review import foresight, owed, putting_right, signoff, taking_back
from lesions.review.signoff import AskedFirst, SignOffRefused, StaleReview


@allow(Act.SEE_DECISIONS)
def decisions(request: HttpRequest) -> HttpResponse:
    return _list(request, signoff.queue(), flagged=True)


@allow(Act.SEE_DECISIONS)
def unflagged(request: HttpRequest) -> HttpResponse:
    return _list(request, signoff.unflagged(), flagged=False)


def _list(request: HttpRequest, rows: QuerySet[Review], flagged: bool) -> HttpResponse:
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    reviews = list(page.object_list)
    shared = people.shared_names([review.lesion.patient for review in reviews])
    waiting = Review.objects.filter(state=ReviewState.WAITING)
    context = {
        "page": page,
        "rows": [_row(review, shared) for review in reviews],
        "flagged": flagged,
        "others": waiting.filter(flagged=not flagged).count(),
        "oldest": waiting.filter(flagged=flagged)
        .order_by("opened_at")
        .values_list("opened_at", flat=True)
        .first(),
        "may_open": may(request.user, Act.SEE_PICTURES),
        "signed": owed.standing().count(),
        "lately": list(taking_back.to_take_back(request.user)),  # type: ignore[arg-type]
    }
    if flagged:
        context |= {
            "unseen": _signs(request),
            "proposed": duty_rows.proposal_rows(proposals.waiting()[:PAGE], request),
            "duties": duty_rows.page_of_list(OwningList.DECISIONS, request),
        }
    return render(request, "lesions/decisions.html", context)


def _signs(request: HttpRequest) -> Page:
    """List signs and concerns without a picture: an examination in person is what ends them."""
    page = Paginator(register.without_picture(), PAGE).get_page(request.GET.get("signs"))
    limit, today = limits.in_force()["examine"], clock.today()
    rows = [(row, limit.due_on(row.noted_on, urgent=True)) for row in page.object_list]
    page.object_list = [{"sign": row, "due_on": due, "late": due < today} for row, due in rows]
    return page


def _row(review: Review, shared: set[int]) -> dict[str, Any]:
    patient = review.lesion.patient
    return {
        "review": review,
        "patient": patient,
        "same_name": patient.pk in shared,
        "place": register.place_words(review.lesion),
        "flags": review.flags.all(),
        "signs": register.open_of(review.lesion),
    }


@allow(Act.SEE_PICTURES)
def decision(request: HttpRequest, pk: int) -> HttpResponse:
    rows = Review.objects.select_related(
        "lesion__patient",
        "assessment__image__uploaded_by",
        "assessment__drawn_by",
        "comparison__earlier__image",
        "signoff__by",
        "signoff__revoked",
    )
    review = get_object_or_404(rows, pk=pk)
    if request.method != "POST":
        return _page(request, review, SignOffForm(initial={"revision": review.revision}))
    require(request.user, Act.SIGN_OFF)
    form = SignOffForm(request.POST)
    if form.is_valid() and "foresee" not in request.POST:
        try:
            signed = signoff.record(review_id=pk, by=request.user, **form.cleaned_data)
        except StaleReview:
            return _somebody_else(request, pk, form.cleaned_data["decision"])
        except AskedFirst as error:
            form.ask(error.questions)
        except SignOffRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, f"Signed: {signed.get_decision_display()}, for {review.lesion.patient}."
            )
            return redirect("lesions:decisions")
    return _page(request, review, form)


def _somebody_else(request: HttpRequest, pk: int, yours: str) -> HttpResponse:
    """Show what stands now, beside what was about to be signed."""
    review = Review.objects.select_related("lesion", "signoff__by").get(pk=pk)
    signed = getattr(review, "signoff", None)
    now = f"{signed.get_decision_display()}, signed by {signed.by}" if signed else review.get_state_display()
    change = {"label": "Decision", "yours": Decision(yours).label, "now": now}
    what = "Somebody else decided on this lesion, or another picture came. Nothing of yours was saved."
    back = lesion_url(review.lesion)
    return conflict(request, StaleReview(review), back, what=what, changes=[change])


def _page(request: HttpRequest, review: Review, form: SignOffForm) -> HttpResponse:
    lesion = review.lesion
    comparison, others = _chosen(review, request.GET.get("with", ""))
    away = list(putting_right.moved_away(lesion))
    elsewhere = review.assessment.image.lesion_id != lesion.pk
    policy = policies.in_force(PolicyKind.FLAGS)
    own = flags.own_repeatability(policy.toml) if policy else None
    beside = comparing.side_by_side(comparison)
    context = banner(request, lesion.patient, lesion, "decision") | {
        "review": review,
        "form": form,
        "keys": _keyed(form),
        "flags": list(review.flags.all()),
        "comparison": comparison,
        "others": others,
        "registration": comparison.result["registration"] if comparison else None,
        "earlier": _side(comparison.earlier, comparison, beside.earlier) if comparison else None,
        "later": None if elsewhere else _side(review.assessment, comparison, beside.later),
        "notes": beside.notes,
        "away": away,
        "elsewhere": elsewhere,
        "follows": _follows(lesion, form) if form.is_bound or review.state == ReviewState.WAITING else [],
        "matrix": _matrix(comparison),
        "gap": _gap(comparison, review),
        "changes": figures.changes(comparison, own),
        "own": own,
        "figures": [] if comparison or elsewhere else figures.figures(review.assessment.result),
        "place_in_queue": _place_in_queue(review),
        "history": list(lesion.signoffs.select_related("by", "revoked")),
        "signs": list(register.open_signs(lesion)),
        "measuring": _measuring(lesion),
        "may_draw": may(request.user, Act.ADD_PICTURES),
        "may_sign": may(request.user, Act.SIGN_OFF) and review.state == ReviewState.WAITING,
    }
    status = 422 if form.errors else 200
    return render(request, "lesions/decision.html", context, status=status)


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
    found = foresight.foresee(lesion, supposed, at_hand=chosen is None)
    return [
        {"decision": Decision(decision), "months": months, "words": seen.words}
        for (decision, months), seen in zip(supposed, found, strict=bool(found))
    ]


def _chosen(review: Review, wanted: str) -> tuple[Comparison | None, list[dict[str, Any]]]:
    """Choose the comparison to show, with links to the previous and the first picture."""
    found = Comparison.objects.filter(
        later=review.assessment,
        later__image__lesion=review.lesion_id,
        earlier__image__lesion=review.lesion_id,
        earlier__image__set_aside=False,
    )
    ordered = found.select_related("earlier__image", "earlier__drawn_by").order_by(
        "earlier__image__taken_on", "earlier__image", "earlier"
    )
    rows = list({row.earlier.image_id: row for row in ordered}.values())  # of each picture its last outline
    if not rows:
        return None, []
    named = {"previous": rows[-1], "baseline": rows[0]}
    chosen = named.get(wanted, next((row for row in rows if row.pk == review.comparison_id), rows[-1]))
    if len(rows) < 2:
        return chosen, []
    words = {"previous": "previous", "baseline": "first"}
    links = [
        {"key": key, "words": words[key], "day": row.earlier.image.taken_on, "current": row.pk == chosen.pk}
        for key, row in named.items()
    ]
    return chosen, links


def _side(assessment: Assessment, comparison: Comparison | None, pane: Pane | None) -> dict[str, Any]:
    """Prepare one photograph: its outline, where its pane looks, and its largest diameter."""
    result = assessment.result
    outline = result["outline"] if result else None
    return {
        "image": assessment.image,
        "assessment": assessment,
        "points": outline["points"] if outline else [],
        "across": figures.across(assessment, comparison),
        "doubts": result["doubt"] if result else [],
        "pane": pane,
        "mm_per_px": pane.mm_per_px if pane else figures.mm_per_px(assessment),
        "poor": [row for row in result["quality"] if not row["ok"]] if result else [],
    }


def _measuring(lesion: Lesion) -> set[int]:
    """Find pictures of this lesion that a worker has still to measure, such as by a corrected outline."""
    rows = Assessment.objects.filter(image__lesion=lesion, state__in=UNFINISHED)
    return set(rows.values_list("image", flat=True))


def _matrix(comparison: Comparison | None) -> str:
    rows = comparison.result["registration"]["matrix"] if comparison else None
    return " ".join(str(value) for row in rows for value in row) if rows else ""


def _gap(comparison: Comparison | None, review: Review) -> str:
    if comparison is None:
        return ""
    return figures.gap_words(comparison.earlier.image.taken_on, review.assessment.image.taken_on)


def _keyed(form: SignOffForm) -> list[dict[str, Any]]:
    """List the decisions with the number key of each."""
    return [{"choice": choice, "key": number} for number, choice in enumerate(form["decision"], start=1)]


def _place_in_queue(review: Review) -> dict[str, Any] | None:
    """Say which of how many this is, how many are left after it, and since when the oldest waits."""
    waiting = Review.objects.filter(state=ReviewState.WAITING, flagged=review.flagged)
    rows = list(waiting.order_by("-urgent", "opened_at", "pk").values_list("pk", "opened_at"))
    keys = [pk for pk, _ in rows]
    if review.pk not in keys:
        return None
    number = keys.index(review.pk) + 1
    return {"number": number, "of": len(keys), "left": len(keys) - 1, "oldest": min(at for _, at in rows)}


def _words_by_decision(rows: list[dict[str, Any]]) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for row in rows:
        after = f"{row['months']} months: " if row["months"] else ""
        found.setdefault(row["decision"].value, []).extend(f"{after}{words}" for words in row["words"])
    return {value: "; ".join(words) for value, words in found.items()}


@allow(Act.SIGN_OFF)
def decide_in_person(request: HttpRequest, pk: int) -> HttpResponse:
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
    note = "Decided at the bedside, without pictures. Pictures that wait for a decision go on waiting."
    return about_lesion(request, lesion, form, "Decide in person", "Sign", note=note)


@allow(Act.SIGN_OFF)
@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    signed = get_object_or_404(SignOff.objects.select_related("lesion__patient"), pk=pk)
    try:
        taking_back.take_back(signed=signed, by=request.user)
    except SignOffRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "Taken back: what it moved stands as before, and the lesion waits again.")
    return redirect("lesions:lesion", signed.lesion_id)


@allow(Act.SIGN_OFF)
@require_POST
def add_addendum(request: HttpRequest, pk: int) -> HttpResponse:
    signed = get_object_or_404(SignOff.objects.select_related("lesion__patient"), pk=pk)
    form = AddendumForm(request.POST)
    if not form.is_valid():
        return about_lesion(request, signed.lesion, form, "Add to a decision", "Add")
    signoff.add_addendum(signoff=signed, by=request.user, **form.cleaned_data)
    return redirect(reverse("lesions:lesion", args=[signed.lesion_id]))
