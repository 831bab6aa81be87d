from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.models import StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import conflict, page_form
from clinic.trail import audit
from scheduling.desk import claims, contacts, taking_back, what_next
from scheduling.forms import ClosingForm, LaterForm
from scheduling.models import OPEN, ContactAttempt, Ground, Recall
from scheduling.pages.ladder_words import ladder_words
from scheduling.pages.patient_sections import request_address
from scheduling.planning import ladder
from scheduling.planning.rules_in_force import rules_of
from scheduling.recalls import closing, discharge, wording
from scheduling.views.diary import book as book_views


@allow(Act.SEE_WORKLIST)
def recall(request: StaffRequest, pk: int) -> HttpResponse:
    """Show one recall: why and when, what was tried, and what can be done about it."""
    found = _recall(pk)
    patient, today = found.patient, clock.today()
    audit.read(patient, by=request.user, page="recall")
    is_open = found.state in OPEN
    context = {
        "recall": found,
        "patient": patient,
        "what": wording.what_for(found, wording.subjects([found])),
        "near": wording.how_near(found, today),
        "policy_line": wording.policy_line(found.policy),
        "rules": rules_of(found.policy),
        "strip": wording.strip_of(
            found, wording.visit_days([patient.pk], today - timedelta(days=800))[patient.pk], today
        ),
        "routes": list(patient.routes.all()),
        "attempts": _attempts(found, request.user),
        "left": contacts.attempts_left(found),
        "ladder_words": ladder_words(found.urgency),
        "holder": claims.holder_of(patient),
        "appointments": _appointments(found, request.user),
        "answers": _answers(found),
        "is_open": is_open,
        "may_call": is_open and may(request.user, Act.CONTACT),
        "may_look_again": is_open and may(request.user, Act.CLOSE_RECALLS),
        "may_take_back": closing.may_take_back(found, request.user),
        "request_page": request_address(found) if is_open and may(request.user, Act.SEE_PICTURES) else "",
        "may_propose": is_open and may(request.user, Act.PROPOSE_CLOSING),
        **book_views.what_can_be_booked(found, request),
    }
    return render(request, "scheduling/recall.html", context)


def _attempts(found: Recall, member: Any) -> list[tuple[ContactAttempt, bool]]:
    """List the attempts, the last first; whoever entered one may strike it through for ten minutes."""
    rows = found.attempts.select_related("by", "struck__by", "call__carer").order_by("-at", "-pk")
    return [(row, taking_back.may_strike(row, member)) for row in rows]


def _answers(found: Recall) -> list[str]:
    asked = what_next.said_about([found.patient_id]).get((found.patient_id, found.subject), [])
    return [wording.answer_of(one) for one in reversed(asked)]


def _appointments(found: Recall, member: Any) -> list[tuple[Any, bool, bool]]:
    """List the appointments, the last first; which can be moved, and which its author may take back."""
    rows = found.appointments.select_related("resource").order_by("-starts_at")
    may_move, now = may(member, Act.BOOK), clock.now()
    return [
        (
            row,
            may_move and row.state == "booked" and row.starts_at > now,
            taking_back.may_take_back(row, member),
        )
        for row in rows
    ]


def _recall(pk: int) -> Recall:
    signed = ("policy__proposed_by", "policy__approved_by", "proposed_by", "closed_by", "completed_by__visit")
    return get_object_or_404(Recall.objects.select_related("patient", *signed), pk=pk)


@allow(Act.CONTACT)
@require_POST
def strike(request: StaffRequest, pk: int) -> HttpResponse:
    """Strike an attempt through that was entered by mistake."""
    rows = ContactAttempt.objects.select_related("recall__patient", "by", "struck")
    found = get_object_or_404(rows, pk=pk)
    try:
        taking_back.strike(attempt=found, by=request.user)
    except contacts.ContactRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Struck through: it stays readable and counts no more."))
    return redirect("scheduling:recall", found.recall_id)


@allow(Act.PROPOSE_CLOSING)
def close(request: StaffRequest, pk: int) -> HttpResponse:
    """Close a recall, or propose to: one form for both; whoever may not close this recall proposes it."""
    found, back = _recall(pk), resolve_url("scheduling:recall", pk)
    first = {"revision": found.revision, "ground": found.proposed_ground, "note": found.proposed_note}
    form = ClosingForm(request.POST or None, initial=first, series=discharge.series_of(found))
    if form.is_valid():
        try:
            claims.hold(found.patient, request.user)
            done = _close_or_propose(found, request.user, form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, back)
        except closing.RecallRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, done)
            return redirect(back)
    return page_form(
        request,
        form,
        _("Close this recall"),
        back=back,
        button=_("Close or propose"),
        patient=found.patient,
        note=_who_closes(found, request.user),
    )


@allow(Act.PROPOSE_CLOSING)
@require_POST
def take_closing_back(request: StaffRequest, pk: int) -> HttpResponse:
    """Open a recall again that was closed by mistake."""
    found, form, back = _recall(pk), RevisionForm(request.POST), resolve_url("scheduling:recall", pk)
    try:
        closing.take_back(recall=found, by=request.user, revision=form.seen())
    except StaleRow as error:
        return conflict(request, error, back)
    except closing.RecallRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Taken back: the recall is open again."))
    return redirect(back)


def _close_or_propose(found: Recall, member: Any, given: dict[str, Any]) -> str:
    """Close where this member may, end a series where it is a discharge, else propose it; returns what was done."""
    desk = ladder.standing_of(found.urgency).closed_by_desk or given["ground"] == Ground.SUPERSEDED
    # “Entered in error” is the one ground that nobody outside can confirm: a second person must have proposed it.
    second = given["ground"] != Ground.ERROR or found.proposed_by_id not in (None, member.pk)
    series = given.pop("series")
    # Closing finishes one occurrence, a discharge ends the whole series (docs/domain.md, 11).
    if given["ground"] == Ground.DISCHARGE and may(member, Act.CLOSE_RECALLS):
        about = {"purpose": found.purpose, "subject": found.subject, "note": given["note"]}
        discharge.end_series(patient=found.patient, by=member, series=series, **about)
        return _("The discharge is on record; what was not ticked goes on.")
    if second and may(member, Act.PROPOSE_CLOSING if desk else Act.CLOSE_RECALLS):
        closing.close(recall=found, by=member, **given)
        return _("The recall is closed.")
    closing.propose_closing(recall=found, by=member, **given)
    return _("Closing is proposed; the recall stays open until somebody else has closed it.")


def _who_closes(found: Recall, member: Any) -> str:
    if ladder.standing_of(found.urgency).closed_by_desk:
        return _("A reminder: the desk may close it with a ground. “Entered in error” needs a second person.")
    rule = _("Urgency %(letter)s: a dermatologist closes it, unless another recall takes its place.")
    rule = rule % {"letter": found.urgency}
    return rule if may(member, Act.CLOSE_RECALLS) else f"{rule} {_('What you enter here is a proposal.')}"


@allow(Act.CLOSE_RECALLS)
def unreachable(request: StaffRequest, pk: int) -> HttpResponse:
    """Let a recall rest until a day on which it is looked at again; only a dermatologist may."""
    found, back = _recall(pk), resolve_url("scheduling:recall", pk)
    form = LaterForm(request.POST or None, initial={"revision": found.revision})
    if form.is_valid():
        try:
            what_next.look_again(recall=found, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, back)
        except closing.RecallRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect(back)
    note = _(
        "The recall stays open and is counted; it comes back on the list on this day, in 90 days at the latest."
    )
    more = {"patient": found.patient, "note": note}
    title, button = _("Look again on a later day"), _("Look again then")
    return page_form(request, form, title, back=back, button=button, **more)
