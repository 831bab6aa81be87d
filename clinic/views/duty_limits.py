"""The table of duties as people read it, and how two people bring other limits into force."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow
from clinic.duties import limits
from clinic.duties.kinds import KINDS
from clinic.forms import DutyLimitsForm
from clinic.models import Policy, PolicyKind, PolicyState
from clinic.pages.policy_steps import PolicyPages, rights
from clinic.pages.responses import page_form
from clinic.policies import Version

PAGES = PolicyPages(
    PolicyKind.DUTY_LIMITS,
    home="clinic:duty_limits",
    version="clinic:duty_limits_version",
)


@allow(Act.SEE_RULES)
def in_force(request: StaffRequest) -> HttpResponse:
    """Show the limits of duties that are in force."""
    versions = PAGES.versions()
    return _page(request, PAGES.current(versions), versions)


@allow(Act.SEE_RULES)
def version(request: StaffRequest, pk: int) -> HttpResponse:
    """Show one version of the limits."""
    return _page(request, PAGES.one(pk), PAGES.versions())


def _page(request: StaffRequest, policy: Policy | None, versions: list[Version]) -> HttpResponse:
    table = limits.limits(policy.toml if policy else limits.shipped())
    rows = [(kind, table.get(code)) for code, kind in KINDS.items()]
    context: dict[str, Any] = {"policy": policy, "versions": versions, "rows": rows, **rights(request.user)}
    return render(request, "clinic/duty_limits.html", context)


@allow(Act.PROPOSE_POLICY)
def draft(request: StaffRequest) -> HttpResponse:
    """Draft other limits from those in force."""
    current = Policy.objects.filter(kind=PolicyKind.DUTY_LIMITS, state=PolicyState.IN_FORCE).first()
    form = DutyLimitsForm(
        request.POST or None, initial={"toml": current.toml if current else limits.shipped()}
    )
    made = PAGES.keep(request, form, limits.check) if form.is_valid() else None
    if made:
        messages.success(request, _("The limits are a draft. Read them as a table, then propose them."))
        return redirect(PAGES.version, made.pk)
    note = _("Duties that are open keep their day; new ones follow once a second person has approved.")
    more = {"back": PAGES.home, "button": _("Check and keep as draft"), "note": note}
    return page_form(request, form, _("Draft limits of duties"), **more)


@allow(Act.PROPOSE_POLICY)
@require_POST
def propose(request: StaffRequest, pk: int) -> HttpResponse:
    """Propose drafted limits to another person."""
    return PAGES.propose(
        request, pk, _("Limits of duties %(version)s are proposed: another person approves them.")
    )


@allow(Act.APPROVE_POLICY)
@require_POST
def approve(request: StaffRequest, pk: int) -> HttpResponse:
    """Bring proposed limits into force, by a second person."""
    said = _("Limits of duties %(version)s are in force for every duty that opens from now on.")
    return PAGES.approve(request, pk, said)
