"""Pages of records that may be one person: the list, both side by side, and a merge that is undone."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow, may
from clinic.duties import proposals
from clinic.duties.ledger import DutyRefused
from clinic.forms import MergeForm, PartForm, SameAsForm
from clinic.merging import merging, pairs, unmerging
from clinic.models import LikelyPair, Merge, PairState, Patient, StaleRow, Unmerge
from clinic.pages.duty_rows import proposal_rows
from clinic.pages.fields import RevisionForm
from clinic.pages.paging import page_of_rows
from clinic.pages.pair_rows import pair_rows
from clinic.pages.responses import asks_first, conflict, page_form, page_of
from clinic.people.longer_waits import MakesLonger
from clinic.trail import audit


@allow(Act.SEE_PATIENTS)
def same_people(request: StaffRequest) -> HttpResponse:
    """List the pairs that nobody has decided about, the first due first."""
    page = page_of_rows(pairs.open_pairs(), request)
    context = {
        "page": page,
        "rows": pair_rows(page.object_list, request),
        "may_say": may(request.user, Act.SAY_SAME_PERSON),
    }
    return render(request, "clinic/same_people.html", context)


@allow(Act.SAY_SAME_PERSON)
def pair(request: StaffRequest, pk: int) -> HttpResponse:
    """Both records side by side; one member proposes which stays, another confirms it."""
    found = _found(pk)
    people = (found.one, found.other)
    form = MergeForm(request.POST or None, people=people, initial={"revision": found.revision})
    asked: dict[str, Any] | None = {}
    if form.is_valid():
        try:
            asked = _asked(request, form, lambda: _propose(request, found, form))
        except StaleRow as error:
            return conflict(request, error, resolve_url("clinic:same_people"))
        if asked is None:
            return redirect("clinic:same_people")
    for one in people:
        audit.read(one, by=request.user, page="pair")
    row = pair_rows([found], request)[0]
    context = {
        "row": row,
        "form": form,
        "open": found.state == PairState.OPEN,
        "proposed": [row.asked] if row.asked else [],
        **(asked or {}),
    }
    return render(request, "clinic/pair.html", context, status=422 if form.is_bound else 200)


def _found(pk: int) -> LikelyPair:
    return get_object_or_404(LikelyPair.objects.select_related("one", "other", "decided_by"), pk=pk)


def _asked(request: StaffRequest, form: Form, propose: Callable[[], object]) -> dict[str, Any] | None:
    """Propose it. None: it is proposed; else what the form then shows, such as days that are signed for first."""
    try:
        propose()
    except MakesLonger as error:
        return asks_first(request, form, error)
    except (merging.MergeRefused, DutyRefused) as error:
        form.add_error(None, str(error))
        return {}
    messages.success(request, _("Proposed: it stands in Decisions until another member has answered."))
    return None


def _propose(request: StaffRequest, found: LikelyPair, form: MergeForm) -> None:
    given = form.cleaned_data
    survivor = found.one if given["survivor"] == str(found.one_id) else found.other
    merging.propose(
        pair=found,
        survivor=survivor,
        by=request.user,
        reason=given["reason"],
        revision=given["revision"],
        signed=request.POST.get("signed", ""),
    )


@allow(Act.SAY_SAME_PERSON)
@require_POST
def two_people(request: StaffRequest, pk: int) -> HttpResponse:
    found = _found(pk)
    try:
        pairs.say_two_people(pair=found, by=request.user, revision=RevisionForm(request.POST).seen())
    except StaleRow as error:
        return conflict(request, error, resolve_url("clinic:same_people"))
    except merging.MergeRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Two people: this pair is not shown again."))
    return redirect("clinic:same_people")


@allow(Act.SAY_SAME_PERSON)
def same_as(request: StaffRequest, pk: int) -> HttpResponse:
    """Somebody takes another record for the same person: both are put side by side."""
    found, form = get_object_or_404(Patient, pk=pk), SameAsForm(request.POST or None)
    if form.is_valid():
        try:
            other = form.cleaned_data["number"]
            made = pairs.pair_by_hand(patient=found, other=other, by=request.user)
        except merging.MergeRefused as error:
            form.add_error("number", str(error))
        else:
            return redirect("clinic:pair", made.pk)
    said: dict[str, Any] = {"back": page_of(found), "button": _("Look at both"), "patient": found}
    return page_form(request, form, _("Another record of the same person"), **said)


@allow(Act.SAY_SAME_PERSON)
def part(request: StaffRequest, pk: int) -> HttpResponse:
    """Undo a merge: says first what stays with the survivor; one member proposes it, another confirms it."""
    found = get_object_or_404(Merge.objects.select_related("survivor", "gone", "by", "second"), pk=pk)
    form = PartForm(request.POST or None)
    asked: dict[str, Any] | None = {}
    if form.is_valid():
        given = {"reason": form.cleaned_data["reason"], "signed": request.POST.get("signed", "")}
        asked = _asked(request, form, lambda: unmerging.propose(merge=found, by=request.user, **given))
        if asked is None:
            return redirect("clinic:patient", found.survivor_id)
    page = page_of_rows(unmerging.recorded_since(found), request)
    since = [(row, audit.words(row.action)) for row in page.object_list]
    context = {
        "merge": found,
        "patient": found.survivor,
        "undone": Unmerge.objects.filter(merge=found).select_related("by", "second").first(),
        "form": form,
        "first": proposal_rows(proposals.waiting().filter(patient=found.survivor), request),
        "page": page,
        "since": since,
        **(asked or {}),
    }
    return render(request, "clinic/part.html", context, status=422 if form.is_bound else 200)
