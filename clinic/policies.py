"""Policies: a file of the repository becomes a draft; two different people bring it into force."""

import hashlib
from collections.abc import Callable

from django.db import transaction
from django.db.models import Max

from clinic import audit, clock
from clinic.models import Member, Policy, PolicyKind, PolicyState, change


class PolicyRefused(ValueError):
    """A sentence that says why the policy cannot go on."""


# kind → check(text) returning a list of faults in words; the app that owns the kind registers it
CHECKS: dict[str, Callable[[str], list[str]]] = {}


@transaction.atomic
def draft(*, kind: PolicyKind | str, toml: str, by: Member | None) -> Policy:
    faults = CHECKS[kind](toml) if kind in CHECKS else []
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
        raise PolicyRefused("Only a draft can be proposed.")
    change(policy, seen=revision, at=clock.now(), state=PolicyState.PROPOSED, proposed_by=by)
    audit.record("policy.propose", by=by, subject=policy, kind=policy.kind, version=policy.version)
    return policy


@transaction.atomic
def approve(*, policy: Policy, by: Member, revision: int) -> Policy:
    """A second person approves; what was in force until now is kept as replaced."""
    if policy.state != PolicyState.PROPOSED:
        raise PolicyRefused("Only a proposed policy can be approved.")
    if policy.proposed_by_id == by.pk:
        raise PolicyRefused("Whoever proposed it cannot approve it: a second person is needed.")
    now = clock.now()
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
