"""Bring policies into force: a text becomes a draft, one person proposes it, another approves it."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from clinic import clock
from clinic.models import AuditRecord, Member, Policy, PolicyKind, PolicyState, change
from clinic.trail import audit


class PolicyRefused(ValueError):
    """Raised where a policy cannot take this step; the text is the sentence for the page."""


# kind → check(text) returning a list of faults in words
CHECKS: dict[str, Callable[[str], list[str]]] = {}


def register_checker(kind: PolicyKind, check: Callable[[str], list[str]]) -> None:
    """Have `check` read every draft of this kind; the app that owns the kind calls this in `ready()`."""
    if kind in CHECKS:
        raise RuntimeError(f"policies of the kind {kind.value!r} have a checker already")
    CHECKS[kind] = check


@transaction.atomic
def draft(*, kind: PolicyKind | str, toml: str, by: Member | None) -> Policy:
    if kind not in CHECKS:
        raise PolicyRefused(
            _("Nothing checks a policy of the kind “%(kind)s”, so none can be drafted.") % {"kind": kind}
        )
    # A text with faults never becomes a row: who approves may rely on it that the program can read it.
    faults = CHECKS[kind](toml)
    if faults:
        raise PolicyRefused("; ".join(faults))
    last = Policy.objects.filter(kind=kind).aggregate(Max("version"))["version__max"] or 0
    digest = hashlib.sha256(toml.encode()).hexdigest()
    policy = Policy.objects.create(
        kind=kind, version=last + 1, toml=toml, sha256=digest, changed_at=clock.now()
    )
    audit.record("policy.draft", by=by, subject=policy, kind=kind, version=policy.version, sha256=digest)
    return policy


@transaction.atomic
def propose(*, policy: Policy, by: Member, revision: int) -> Policy:
    if policy.state != PolicyState.DRAFT:
        raise PolicyRefused(_("Only a draft can be proposed."))
    change(policy, seen=revision, at=clock.now(), state=PolicyState.PROPOSED, proposed_by=by)
    audit.record("policy.propose", by=by, subject=policy, kind=policy.kind, version=policy.version)
    return policy


@transaction.atomic
def approve(*, policy: Policy, by: Member, revision: int) -> Policy:
    """Approve a proposed policy, by a second person; what was in force until now is kept as replaced."""
    if policy.state != PolicyState.PROPOSED:
        raise PolicyRefused(_("Only a proposed policy can be approved."))
    if policy.proposed_by_id == by.pk:
        raise PolicyRefused(_("Whoever proposed it cannot approve it: a second person is needed."))
    now = clock.now()
    # The old one steps back first: the database allows one in force, and asks after each statement.
    for old in Policy.objects.filter(kind=policy.kind, state=PolicyState.IN_FORCE):
        change(old, seen=old.revision, at=now, state=PolicyState.REPLACED)
    change(
        policy, seen=revision, at=now, state=PolicyState.IN_FORCE, approved_by=by, in_force_from=clock.today()
    )
    audit.record("policy.approve", by=by, subject=policy, kind=policy.kind, version=policy.version)
    return policy


def in_force(kind: PolicyKind | str) -> Policy | None:
    return (
        Policy.objects.filter(kind=kind, state=PolicyState.IN_FORCE)
        .select_related("proposed_by", "approved_by")
        .first()
    )


def signed(kind: PolicyKind) -> QuerySet[Policy]:
    """What is in force and what was."""
    return Policy.objects.filter(kind=kind, state__in=(PolicyState.IN_FORCE, PolicyState.REPLACED))


def texts_in_force(*kinds: PolicyKind | str) -> dict[str, str]:
    """Give the texts in force of several kinds in one question; a kind without one is left out."""
    return dict(Policy.objects.filter(kind__in=kinds, state=PolicyState.IN_FORCE).values_list("kind", "toml"))


@dataclass(frozen=True)
class Step:
    """Who did it, None for the program itself, and when it was recorded."""

    by: Member | None
    at: datetime


@dataclass
class Version:
    """One version of a policy with its steps by the audit trail; `accepted`: in words, what was accepted with it."""

    policy: Policy
    steps: dict[str, Step] = field(default_factory=dict)
    accepted: str = ""

    @property
    def three(self) -> list[Step | None]:
        return [self.steps.get(action) for action in ("policy.draft", "policy.propose", "policy.approve")]

    @property
    def until(self) -> date | None:
        """Give the day on which another version took its place; a replaced row never changes again."""
        replaced = self.policy.state == PolicyState.REPLACED
        return timezone.localdate(self.policy.changed_at) if replaced else None


def history(kind: PolicyKind | str) -> list[Version]:
    """List every version, the newest first, with who drafted, proposed and approved it."""
    rows = Policy.objects.filter(kind=kind).select_related("proposed_by", "approved_by").order_by("-version")
    # From the trail and not from the row: the row keeps who signed, only the trail keeps when.
    found = {audit.subject_of(row): Version(row) for row in rows}
    steps = AuditRecord.objects.filter(subject__in=found, action__startswith="policy.").select_related("by")
    for row in steps.order_by("pk"):
        found[row.subject].steps[row.action] = Step(row.by, row.at)
    return list(found.values())
