"""One duty on one page: what is owed, how it ends, and what stands behind it; and what was proposed."""

from collections.abc import Callable, Iterable
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.duties import ledger, proposals, steps, wording
from clinic.duties.kinds import KINDS, OwningList
from clinic.duties.ledger import DutyRefused
from clinic.duties.outcomes import Outcome, act_of, outcomes_of
from clinic.forms import AnswerForm, EndDutyForm, GiveForm, ProposeEndForm, PutOffForm, SettleForm, TellForm
from clinic.models import Duty, Proposal, StaleRow
from clinic.pages.duty_rows import door_of, door_of_proposal, duty_rows, paper_of, proposal_rows
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import conflict
from clinic.people import ending
from clinic.trail.record_days import WrongDay

_PAGES = {
    OwningList.TODAY: "scheduling:today",
    OwningList.DECISIONS: "lesions:decisions",
    OwningList.RESULTS: "lesions:results",
    OwningList.PICTURES: "lesions:pictures",
}


# Where somebody writes to, or names, who sent the patient.
_ASKS_REFERRER = ("ask_referrer", "decide_what_follows")


def list_url(duty: Duty) -> str:
    return resolve_url(_PAGES[KINDS[duty.kind].list])


@allow(Act.SEE_WORKLIST)
def duty(request: StaffRequest, pk: int) -> HttpResponse:
    """Show one duty: what is owed, how it ends, and who may end it."""
    return _page(request, _found(pk))


def _found(pk: int) -> Duty:
    rows = Duty.objects.select_related("patient", "owner", "opened_by", "ended_by", "second")
    return get_object_or_404(rows, pk=pk)


def _page(request: StaffRequest, found: Duty, **bound: Any) -> HttpResponse:
    """Show a duty with the forms that this member may send; one that was sent comes back with what is wrong."""
    start = {"revision": found.revision, "on": clock.today()}
    # Only what this member may enter: the desk sees no “no report can be had”, which is a dermatologist's.
    may_settle = [one for one in outcomes_of(found.kind) if may(request.user, act_of(found.kind, one))]
    forms = {
        "settle": _settle_form(found, may_settle, initial=start) if may_settle else None,
        "end": EndDutyForm(initial=start) if may(request.user, Act.END_DUTIES) else None,
        "put_off": PutOffForm(initial=start) if may(request.user, Act.END_DUTIES) else None,
        "give": GiveForm(act=KINDS[found.kind].may_end, initial=start) if _may_give(found, request) else None,
        "propose": ProposeEndForm(initial=start) if may(request.user, Act.PROPOSE_ENDING) else None,
    }
    steps_of = [
        (step, wording.outcome_of(step)) for step in found.steps.select_related("by", "struck__by", "carer")
    ]
    hands_over = found.kind == "hand_over" and found.ended_at is None
    context = {
        "row": duty_rows([found], request)[0],
        "patient": found.patient,
        "door": door_of(found),
        "paper": paper_of(found, request),
        "names_referrer": found.patient is not None and found.kind in _ASKS_REFERRER,
        "steps": steps_of,
        "left": ending.outlives(found.patient) if hands_over and found.patient else [],
        "back": list_url(found),
        "may_take_back": _may_take_back(found, request),
        "waits": proposals.waiting().filter(act="duty.end", subject=f"clinic.duty:{found.pk}").first(),
        **{f"{name}_form": bound.get(name, form) for name, form in forms.items()},
    }
    return render(request, "clinic/duty.html", context, status=422 if bound else 200)


def _settle_form(found: Duty, outcomes: Iterable[Outcome], **more: Any) -> SettleForm:
    if found.kind == "tell" and found.patient is not None:
        return TellForm(patient=found.patient, outcomes=outcomes, **more)
    return SettleForm(outcomes=outcomes, **more)


def _may_give(found: Duty, request: StaffRequest) -> bool:
    """Say whether this member names who does it: who tells a result is named by who may read it."""
    return found.kind == "tell" and may(request.user, Act.END_DUTIES)


def _may_take_back(found: Duty, request: StaffRequest) -> bool:
    if found.ended_at is None or found.ended_by_id != request.user.pk:
        return False
    return clock.now() - found.ended_at <= ledger.TAKE_BACK


def _do(
    request: StaffRequest, found: Duty, name: str, form: Any, act: Callable[..., Any], said: str
) -> HttpResponse:
    """Check a form of the page, do what it asks, and go back to the list that owned the duty."""
    if form.is_valid():
        try:
            act(**form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, list_url(found))
        except (DutyRefused, WrongDay) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, said)
            return redirect(list_url(found))
    return _page(request, found, **{name: form})


@allow(Act.SEE_WORKLIST)
@require_POST
def settle(request: StaffRequest, pk: int) -> HttpResponse:
    """Record what came of a duty."""
    found = _found(pk)
    # Every outcome, also one that this member may not choose: the ledger refuses it by name, a form would only say
    # that there is no such choice.
    form = _settle_form(found, outcomes_of(found.kind), data=request.POST)

    def act(**fields: Any) -> None:
        steps.settle(duty=found, by=request.user, **fields)

    return _do(request, found, "settle", form, act, _("Recorded; what follows from it stands on its list."))


@allow(Act.END_DUTIES)
@require_POST
def end(request: StaffRequest, pk: int) -> HttpResponse:
    """End a duty with a ground in place of its proper end."""
    found, form = _found(pk), EndDutyForm(request.POST)

    def act(**fields: Any) -> None:
        ledger.end_with_ground(duty=found, by=request.user, **fields)

    return _do(request, found, "end", form, act, _("Ended with its ground."))


@allow(Act.END_DUTIES)
@require_POST
def put_off(request: StaffRequest, pk: int) -> HttpResponse:
    """Give a duty a later day."""
    found, form = _found(pk), PutOffForm(request.POST)

    def act(**fields: Any) -> None:
        ledger.put_off(duty=found, by=request.user, **fields)

    return _do(request, found, "put_off", form, act, _("Put off."))


@allow(Act.END_DUTIES)
@require_POST
def give(request: StaffRequest, pk: int) -> HttpResponse:
    """Name who does a duty."""
    found = _found(pk)
    form = GiveForm(request.POST, act=KINDS[found.kind].may_end)
    if form.is_valid():
        try:
            ledger.give_to(duty=found, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, list_url(found))
        except DutyRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Named."))
            return redirect("clinic:duty", pk)
    return _page(request, found, give=form)


@allow(Act.PROPOSE_ENDING)
@require_POST
def propose_end(request: StaffRequest, pk: int) -> HttpResponse:
    """Propose that a duty ends with a ground; it stays on its list until somebody else has confirmed."""
    found, form = _found(pk), ProposeEndForm(request.POST)

    def act(revision: int, ground: str, note: str) -> None:
        # A proposal is about somebody's record; the call has two people of its own.
        if found.patient is None:
            raise DutyRefused(_("A call from nobody on file is settled by a second person."))
        proposals.propose(
            "duty.end", patient=found.patient, subject=found, by=request.user, reason=note,
            urgent=found.urgent, ground=ground,
        )  # fmt: skip

    return _do(
        request, found, "propose", form, act, _("Proposed: it stands in Decisions, and here meanwhile.")
    )


@allow(Act.SEE_WORKLIST)
@require_POST
def take_back(request: StaffRequest, pk: int) -> HttpResponse:
    """Take a wrong end back, with all that followed from it."""
    found, form = _found(pk), RevisionForm(request.POST)
    step = found.steps.filter(struck__isnull=True).order_by("-pk").first()
    try:
        # Ended by an entry: the entry is struck through with all that followed. Ended otherwise: only the end is
        # undone.
        if step and found.evidence == f"clinic.step:{step.pk}":
            steps.strike(step=step, by=request.user)
        else:
            ledger.take_back(duty=found, by=request.user, revision=form.seen())
    except StaleRow as error:
        return conflict(request, error, list_url(found))
    except DutyRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Taken back: the duty stands on its list again."))
    return redirect("clinic:duty", pk)


@allow(Act.SEE_DECISIONS)
def proposal(request: StaffRequest, pk: int) -> HttpResponse:
    """Show what was proposed, why and by whom, and confirm or refuse it with a word."""
    rows = Proposal.objects.select_related("patient", "proposed_by", "answered_by")
    found = get_object_or_404(rows, pk=pk)
    form = AnswerForm(request.POST or None, initial={"revision": found.revision})
    if request.method == "POST" and form.is_valid():
        answered = _answer(request, found, form)
        if answered is not None:
            return answered
    # Reading the answer is a look at the page and no button; a page that comes back with a fault is no new look.
    if request.method != "POST":
        proposals.note_read(proposal=found, by=request.user)
    context = {
        "row": proposal_rows([found], request)[0],
        "form": form,
        "patient": found.patient,
        "door": door_of_proposal(found),
    }
    return render(request, "clinic/proposal.html", context, status=422 if form.is_bound else 200)


def _answer(request: StaffRequest, found: Proposal, form: AnswerForm) -> HttpResponse | None:
    given = form.cleaned_data
    act = proposals.confirm if given.pop("confirmed") == "yes" else proposals.refuse
    try:
        act(proposal=found, by=request.user, **given)
    except StaleRow as error:
        return conflict(request, error, resolve_url("lesions:decisions"))
    # What is confirmed is done at once, by any app: each refuses with a sentence of its own.
    except ValueError as error:
        form.add_error(None, str(error))
        return None
    messages.success(request, _("Answered: the proposer sees it."))
    return redirect("lesions:decisions")
