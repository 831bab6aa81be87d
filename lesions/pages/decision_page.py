"""What the decision page shows: one act on one screen, with nothing that the figures hide."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.urls import reverse

from clinic.access import Act, StaffRequest, may
from clinic.models import Member
from clinic.models.risk import Tier
from clinic.people import finding as people
from clinic.trail import audit
from lesions.analysis.compare.panes import Pane
from lesions.limits import flags
from lesions.looking import drafts, queue, showing
from lesions.measuring import comparing, figures
from lesions.models import (
    UNFINISHED,
    Assessment,
    Comparison,
    Decision,
    Draft,
    Impression,
    Lesion,
    Monitoring,
    Review,
    ReviewState,
)
from lesions.pictures import wording as pictures
from lesions.register import register
from lesions.review import outside, putting_right, taking_back, wording
from lesions.review.consequences import Consequences
from lesions.review.wording import FlagWords

# Three months for a short watch, six for a long one (ALT08, BJD08); without a watch the shorter.
_USUAL_MONTHS: dict[str, int] = {Monitoring.SHORT: 3, Monitoring.LONG: 6}
_DOUBTS = ("doubtful", "inadequate", "unaligned", "unmeasured")


@dataclass(frozen=True)
class Side:
    """One photograph: its outline, where its pane looks first and as a whole, and how far across it measured."""

    image: Any
    assessment: Assessment
    points: list[Any]
    across: figures.Figure | None
    close: Pane | None
    whole: Pane | None
    doubts: list[str]
    poor: list[str]
    failure: str


def build(
    request: StaffRequest,
    review: Any,
    form: forms.Form,
    consequences: Consequences | None = None,
) -> dict[str, Any]:
    """Give all that the page shows; `consequences` where somebody asked what would follow before signing."""
    member: Any = request.user
    lesion = review.lesion
    waits = review.state == ReviewState.WAITING
    signs_off = waits and may(member, Act.SIGN_OFF)
    comparison, others = _chosen(review, request.GET.get("with", ""))
    draft = drafts.find(review, member) if signs_off and review.has_draft else None
    texts = queue.texts_in_force()
    _resumed(form, lesion, draft)
    context = _head(request, review) | _pictures(review, comparison, texts)
    return context | {
        "review": review,
        "form": form,
        "choices": _keyed(form),
        "hidden": signs_off and _hides(review, draft, request),
        "looks_first": bool(request.session.get("look_first", False)),
        "impressions": list(zip("ALG", Impression, strict=True)),
        "others": others,
        "reasons": _reasons(review),
        "signs": list(register.open_signs(lesion)) if review.has_signs else [],
        "away": list(putting_right.moved_away(lesion)) if review.has_moves else [],
        "outside": list(outside.undecided(lesion.pk)) if review.has_outside else [],
        "seal": showing.seal(review, comparison, to=member) if signs_off else "",
        "consequences": consequences,
        "may_sign": signs_off,
        "may_draw": may(member, Act.ADD_PICTURES),
        # The line that says what was signed a moment ago, with its way back for ten minutes.
        "done": taking_back.to_take_back(member).first() if may(member, Act.SIGN_OFF) else None,
        **_queue(request, review, member, texts),
    }


def _head(request: StaffRequest, review: Any) -> dict[str, Any]:
    """Say who and what it is about; that the record was opened is kept in the trail."""
    lesion, patient = review.lesion, review.lesion.patient
    audit.read(patient, by=request.user, page="decision")
    return {
        "patient": patient,
        "namesakes": list(people.namesakes(patient)[:3]) if review.has_namesake else [],
        "lesion": lesion,
        "place": register.place_words(lesion),
        "tier": Tier(review.tier).label if review.tier else "",
        "checked_on": review.checked_on,
        "check_complete": not review.left_out,
    }


def wants_impression(request: StaffRequest, review: Review) -> bool:
    """Say whether this member still looks first: a script that left the page's own way out is asked as well."""
    return _hides(review, drafts.find(review, request.user), request)


def _hides(review: Any, draft: Draft | None, request: StaffRequest) -> bool:
    """Say whether figures and reasons wait for the first impression: by the lot, or as whoever looks wants it."""
    wanted = review.look_first or request.session.get("look_first", False)
    return wanted and not (draft and draft.impression)


def _resumed(form: forms.Form, lesion: Lesion, draft: Draft | None) -> forms.Form:
    """Put into the form what was begun before, and the usual months beside “look again”."""
    if not form.is_bound:
        usual = _USUAL_MONTHS.get(lesion.monitoring or "", 3)
        form.initial = {"months": usual, **(draft.said if draft else {}), **form.initial}
    return form


def _pictures(review: Any, comparison: Comparison | None, texts: Mapping[str, str]) -> dict[str, Any]:
    # Moved to another patient meanwhile: from this page it must not be seen any more.
    elsewhere = review.assessment.image.lesion_id != review.lesion_id
    beside = comparing.side_by_side(comparison)
    close = beside.close
    first = close.earlier if close else None
    earlier = _side(comparison.earlier, comparison, first, beside.earlier) if comparison else None
    alone = comparing.alone(review.assessment) if comparison is None else None
    later = _side(review.assessment, comparison, close.later if close else alone, beside.later)
    laid = comparison.result["registration"] if comparison else None
    return {
        "elsewhere": elsewhere,
        "comparison": comparison,
        "earlier": earlier,
        "later": None if elsewhere else later,
        "one_scale": bool(close and close.one_scale),
        "aligned": bool(laid and laid["aligned"]),
        "matrix": _matrix(laid),
        "gap": _gap(comparison, review),
        "notes": beside.notes,
        "measuring": _measuring(review.lesion) if review.is_measured else set(),
        **_measures(review, comparison, elsewhere, texts),
    }


def _measures(
    review: Any, comparison: Comparison | None, elsewhere: bool, texts: Mapping[str, str]
) -> dict[str, Any]:
    text = texts.get("flags")
    own = flags.own_repeatability(text) if text else None
    # Beside a comparison the figures stand in it; alone they are all there is.
    alone = [] if comparison or elsewhere else figures.figures(review.assessment.result)
    return {"changes": figures.changes(comparison, own), "own": own, "figures": alone}


def _side(
    assessment: Assessment, comparison: Comparison | None, close: Pane | None, whole: Pane | None
) -> Side:
    result = assessment.result
    outline = result["outline"] if result else None
    return Side(
        image=assessment.image,
        assessment=assessment,
        points=outline["points"] if outline else [],
        across=figures.across(assessment, comparison),
        close=close,
        whole=whole,
        doubts=wording.doubts_of(result),
        poor=wording.shortcomings_of(result),
        failure=pictures.of_row(assessment.failure, assessment.failure_params),
    )


def _matrix(laid: dict[str, Any] | None) -> str:
    rows = (laid["matrix"] if laid else None) or []
    return " ".join(str(value) for row in rows for value in row)


def _gap(comparison: Comparison | None, review: Any) -> str:
    if comparison is None:
        return ""
    return figures.gap_words(comparison.earlier.image.taken_on, review.assessment.image.taken_on)


def _measuring(lesion: Lesion) -> set[int]:
    """Find the pictures of this lesion that a worker has still to measure, such as by a corrected outline."""
    rows = Assessment.objects.filter(image__lesion=lesion, state__in=UNFINISHED)
    return set(rows.values_list("image", flat=True))


def _reasons(review: Any) -> list[FlagWords]:
    """Write the reasons, doubts first: a number from an outline in doubt says nothing before the doubt."""
    found = sorted(review.flags.all(), key=lambda flag: flag.code not in _DOUBTS)
    return [wording.flag_words(flag) for flag in found]


def _keyed(form: forms.Form) -> list[dict[str, Any]]:
    """Give the decisions, each with its number key."""
    return [
        {"choice": choice, "key": number, "with_months": choice.data["value"] == Decision.LOOK_AGAIN}
        for number, choice in enumerate(form["decision"], start=1)
    ]


def _chosen(review: Any, wanted: str) -> tuple[Comparison | None, list[dict[str, Any]]]:
    """Choose the comparison to show, and list each earlier picture that can be chosen in its place."""
    rows = list(_comparisons(review))
    if not rows:
        return None, []
    # The one that raised the reasons; shown another, nobody would understand why the lesion waits.
    usual = next((row for row in rows if row.pk == review.comparison_id), rows[-1])
    # A word of the address that names nothing shows the usual one: a link from an old page still opens.
    named = {"previous": rows[-1], "baseline": rows[0]} | {str(row.pk): row for row in rows}
    chosen = named.get(wanted, usual)
    links = [
        {"key": row.pk, "day": row.earlier.image.taken_on, "first": row is rows[0], "current": row is chosen}
        for row in rows
    ]
    return chosen, links if len(rows) > 1 else []


def _comparisons(review: Any) -> list[Comparison]:
    """List the comparisons of this picture with each earlier one, by its last outline, the oldest first."""
    found = Comparison.objects.filter(
        later=review.assessment,
        later__image__lesion=review.lesion_id,
        earlier__image__lesion=review.lesion_id,
        earlier__image__set_aside=False,
    )
    ordered = found.select_related("earlier__image", "earlier__drawn_by").order_by(
        "earlier__image__taken_on", "earlier__image", "earlier"
    )
    # A picture measured by several outlines has several rows: the last of them stays.
    return list({row.earlier.image_id: row for row in ordered}.values())


def list_of(request: StaffRequest) -> str:
    """Say from which list whoever decides came: its name, or nothing for the flagged one."""
    return "unflagged" if request.GET.get("list") == "unflagged" else ""


def address(pk: int, of: str) -> str:
    return reverse("lesions:decision", args=[pk]) + (f"?list={of}" if of else "")


def _queue(request: StaffRequest, review: Any, member: Member, texts: Mapping[str, str]) -> dict[str, Any]:
    """Say how many others wait in that list, which is next, and which pictures to fetch before its turn."""
    of = list_of(request)
    place = queue.place_of(review, queue.unflagged(texts) if of else queue.decisions_of(member, texts))
    # Only the next one: fetched ahead, its pictures stand at once; all of them would be a whole day's traffic.
    following = place.following and _with_pictures(place.following)
    ahead = showing.pictures_of(following, following.comparison) if following else []
    return {
        "of": of,
        "others_wait": place.others,
        "next_key": place.following,
        "next_url": address(place.following, of) if place.following else "",
        "ahead": [reverse("lesions:view_image", args=[image.pk]) for image in ahead],
    }


def _with_pictures(pk: int) -> Review | None:
    rows = Review.objects.select_related("assessment__image", "comparison__earlier__image")
    return rows.filter(pk=pk).first()
