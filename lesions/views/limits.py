"""The limits of the measures: which are in force, and how two people bring others into force."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow
from clinic.models import Policy, PolicyKind, PolicyState
from clinic.pages.policy_steps import PolicyPages, rights
from clinic.pages.responses import page_form
from clinic.policies import Version
from lesions.forms import LimitsForm
from lesions.limits import flags, wording

PAGES = PolicyPages(PolicyKind.FLAGS, home="lesions:limits", version="lesions:limits_version")


@allow(Act.SEE_RULES)
def limits(request: StaffRequest) -> HttpResponse:
    """Show the limits in force, each with its source, and how finely this clinic can tell a change."""
    versions = PAGES.versions()
    return _page(request, PAGES.current(versions), versions)


@allow(Act.SEE_RULES)
def version(request: StaffRequest, pk: int) -> HttpResponse:
    """Show one version of the limits, or what is wrong with its text."""
    return _page(request, PAGES.one(pk), PAGES.versions())


def _page(request: StaffRequest, policy: Policy | None, versions: list[Version]) -> HttpResponse:
    context = {"policy": policy, "versions": versions, **rights(request.user)}
    if policy:
        context |= _read(policy.toml)
    return render(request, "lesions/limits.html", context)


def _read(text: str) -> dict[str, Any]:
    # Checked again when it is shown: a later version of the program may read more strictly than the one that kept it.
    faults = wording.faults_of(text)
    if faults:
        return {"faults": faults}
    table, own = flags.limits(text), flags.own_repeatability(text)
    return {
        "limits": [_shown(limit) for limit in table],
        "cautions": wording.cautions(table),
        "own": own,
        "smallest": wording.smallest_changes(own),
    }


def _shown(limit: flags.Limit) -> dict[str, str]:
    title, sentence = limit.sentence.removesuffix("."), wording.sentence(limit)
    return {"title": title, "sentence": sentence, "source": limit.source}


@allow(Act.PROPOSE_POLICY)
def draft(request: StaffRequest) -> HttpResponse:
    """Draft other limits from those in force."""
    form = LimitsForm(request.POST or None, initial={"toml": _start()})
    made = PAGES.keep(request, form, wording.faults_of) if form.is_valid() else None
    if made:
        messages.success(
            request,
            _("Limits %(version)s are a draft. Read them as sentences, then propose them.")
            % {"version": made.version},
        )
        return redirect(PAGES.version, made.pk)
    note = _("Nothing changes for any picture before a second person has approved it.")
    more = {"back": PAGES.home, "button": _("Check and keep as draft"), "note": note}
    return page_form(request, form, _("Draft limits"), **more)


def _start() -> str:
    current = Policy.objects.filter(kind=PolicyKind.FLAGS, state=PolicyState.IN_FORCE).first()
    return current.toml if current else flags.shipped()


@allow(Act.PROPOSE_POLICY)
@require_POST
def propose(request: StaffRequest, pk: int) -> HttpResponse:
    """Propose drafted limits to another person."""
    return PAGES.propose(request, pk, _("Limits %(version)s are proposed: another person approves them."))


@allow(Act.APPROVE_POLICY)
@require_POST
def approve(request: StaffRequest, pk: int) -> HttpResponse:
    """Bring proposed limits into force, by a second person."""
    said = _("Limits %(version)s are in force for every picture measured from now on.")
    return PAGES.approve(request, pk, said)
