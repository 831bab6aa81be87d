"""How often and how people are tried, as people read it, and how two people bring another ladder into force."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow
from clinic.models import Policy, PolicyKind
from clinic.pages.policy_steps import PolicyPages, rights
from clinic.pages.responses import page_form
from clinic.policies import Version
from scheduling.call_forms import LadderForm
from scheduling.desk import ladder_change
from scheduling.models import Urgency
from scheduling.pages.ladder_words import sentence
from scheduling.planning import ladder

PAGES = PolicyPages(PolicyKind.LADDER, home="scheduling:ladder", version="scheduling:ladder_version")


@allow(Act.SEE_RULES)
def in_force(request: StaffRequest) -> HttpResponse:
    versions = PAGES.versions()
    return _page(request, PAGES.current(versions), versions)


@allow(Act.SEE_RULES)
def version(request: StaffRequest, pk: int) -> HttpResponse:
    return _page(request, PAGES.one(pk), PAGES.versions())


def _page(request: StaffRequest, policy: Policy | None, versions: list[Version]) -> HttpResponse:
    rungs = ladder.ladders(policy.toml if policy else ladder.shipped())
    rows = [
        (Urgency(code), sentence(row, ladder.standing_of(code).closed_by_desk)) for code, row in rungs.items()
    ]
    context: dict[str, Any] = {"policy": policy, "versions": versions, "rows": rows, **rights(request.user)}
    return render(request, "scheduling/ladder.html", context)


@allow(Act.PROPOSE_POLICY)
def draft(request: StaffRequest) -> HttpResponse:
    current = PAGES.current(PAGES.versions())
    form = LadderForm(request.POST or None, initial={"toml": current.toml if current else ladder.shipped()})
    made = PAGES.keep(request, form, ladder.check) if form.is_valid() else None
    if made:
        messages.success(request, _("The ladder is a draft. Read it in sentences, then propose it."))
        return redirect(PAGES.version, made.pk)
    note = _("It holds for everybody from the day on which a second person approves it.")
    more = {"back": PAGES.home, "button": _("Check and keep as draft"), "note": note}
    return page_form(request, form, _("Draft how people are tried"), **more)


@allow(Act.PROPOSE_POLICY)
@require_POST
def propose(request: StaffRequest, pk: int) -> HttpResponse:
    return PAGES.propose(request, pk, _("Ladder %(version)s is proposed: another person approves it."))


@allow(Act.APPROVE_POLICY)
@require_POST
def approve(request: StaffRequest, pk: int) -> HttpResponse:
    said = _("Ladder %(version)s is in force; whoever was tried as often goes to a dermatologist.")
    return PAGES.sign(request, pk, ladder_change.approve, said)
