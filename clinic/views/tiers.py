"""The criteria of the risk tiers: which are in force, whom others would move, how two people bring them into force."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic.access import Act, StaffRequest, allow, may
from clinic.forms import TiersForm
from clinic.models import Policy, PolicyKind, PolicyState, Tier
from clinic.pages.policy_steps import PolicyPages, rights
from clinic.pages.responses import page_form
from clinic.people import risk
from clinic.policies import Version
from clinic.tiers import tier_set, wording
from clinic.tiers.tier_set import Criterion, TierSet
from clinic.wording import SPOKEN

PAGES = PolicyPages(PolicyKind.TIERS, home="clinic:tiers", version="clinic:tiers_version")


@dataclass(frozen=True)
class Shown:
    criterion: Criterion
    sentence: str
    flag: str


@allow(Act.SEE_RULES)
def in_force(request: StaffRequest) -> HttpResponse:
    """Show the criteria of the risk tiers that are in force."""
    versions = PAGES.versions()
    return _page(request, PAGES.current(versions), versions)


@allow(Act.SEE_RULES)
def version(request: StaffRequest, pk: int) -> HttpResponse:
    """Show one version of the criteria, with whom it would move."""
    return _page(request, PAGES.one(pk), PAGES.versions())


def _page(request: StaffRequest, policy: Policy | None, versions: list[Version]) -> HttpResponse:
    context = {"policy": policy, "versions": versions, **rights(request.user)}
    context["may_see_patients"] = may(request.user, Act.SEE_PATIENTS)
    if policy:
        context |= _read(policy)
    return render(request, "clinic/tiers.html", context)


def _read(policy: Policy) -> dict[str, Any]:
    """Read a version for its page: an unusable text is shown with its faults, a replaced one moves nobody."""
    # Checked again when it is shown: a later version of the program may read more strictly than the one that kept it.
    faults = risk.faults_of(policy.toml)
    if faults:
        return {"faults": faults}
    found = risk.tiers_of(policy)
    shown = {
        "found": found,
        "groups": _groups(found),
        "prompts": [
            (row, wording.sentence(row.when, SPOKEN), wording.caution(row.flag, SPOKEN))
            for row in found.prompts
        ],
        "context": [
            (row, wording.figure(row, SPOKEN), wording.mark(row.flag, SPOKEN)) for row in found.context
        ],
        "lifetime": [(row, wording.mark(row.flag, SPOKEN)) for row in found.lifetime],
    }
    return shown if policy.state == PolicyState.REPLACED else shown | {"preview": risk.preview(policy)}


def _groups(found: TierSet) -> list[tuple[str, list[Shown]]]:
    """Group the criteria by tier, the highest first."""
    groups = []
    for tier in reversed(tier_set.TIERS[1:]):
        rows = [one for one in found.criteria if one.tier == tier]
        shown = [Shown(one, _beyond(one), wording.mark(one.flag, SPOKEN)) for one in rows]
        groups.append((str(Tier(tier).label), shown))
    return groups


def _beyond(one: Criterion) -> str:
    """Say what a criterion asks, unless its own words say just that."""
    said = wording.says_just(one.when, one.words, SPOKEN)
    return "" if said else wording.sentence(one.when, SPOKEN)


@allow(Act.PROPOSE_POLICY)
def draft(request: StaffRequest) -> HttpResponse:
    """Draft other criteria from those in force."""
    current = risk.in_force()
    form = TiersForm(request.POST or None, initial={"toml": current.toml if current else risk.shipped()})
    made = PAGES.keep(request, form, risk.faults_of) if form.is_valid() else None
    if made:
        words = _("Tier criteria %(version)s are a draft. Read them as sentences, then propose them.")
        messages.success(request, words % {"version": made.version})
        return redirect(PAGES.version, made.pk)
    note = _(
        "Nobody's tier changes before a second person has approved them and the person is assessed anew."
    )
    more = {"back": PAGES.home, "button": _("Check and keep as draft"), "note": note}
    return page_form(request, form, _("Draft tier criteria"), **more)


@allow(Act.PROPOSE_POLICY)
@require_POST
def propose(request: StaffRequest, pk: int) -> HttpResponse:
    """Propose drafted criteria to another person."""
    said = _("Tier criteria %(version)s are proposed: another person sees whom they move and approves them.")
    return PAGES.propose(request, pk, said)


@allow(Act.APPROVE_POLICY)
@require_POST
def approve(request: StaffRequest, pk: int) -> HttpResponse:
    """Bring proposed criteria into force, by whoever has seen whom they move."""
    said = _(
        "Tier criteria %(version)s are in force for every assessment from now on; nobody's tier has changed."
    )
    return PAGES.sign(request, pk, risk.approve, said, digest=request.POST.get("preview", ""))
