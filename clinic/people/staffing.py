"""Accounts: the administrator adds members and changes their role; patients' data stay out of reach."""

from typing import Any

from django.db import transaction

from clinic.models import Member
from clinic.trail import audit

# What a role does not give stands beside it in the trail: who could sign what must be read there years later.
RIGHTS = ("role", "checks_skin", "is_active")


@transaction.atomic
def add(*, by: Member | None, username: str, name: str, role: str, password: str, **more: Any) -> Member:
    """Add an account; `more` are fields of Member, such as `checks_skin`."""
    member = Member(username=username, name=name, role=role, **more)
    member.set_password(password)
    member.save()
    given: dict[str, Any] = {"checks_skin": True} if member.checks_skin else {}
    audit.record("staff.add", by=by, subject=member, role=role, **given)
    return member


@transaction.atomic
def amend(*, member: Member, by: Member, password: str = "", **fields: Any) -> Member:
    """Change an account: name, role, who may record full skin checks, who may still sign in."""
    was = {name: getattr(member, name) for name in ("name", *RIGHTS)}
    for name, value in fields.items():
        setattr(member, name, value)
    # Left empty it stays as it is: a changed role is no reason for a new one.
    if password:
        member.set_password(password)
    member.save(update_fields=[*fields, "password"])
    now = {name: getattr(member, name) for name in RIGHTS}
    audit.record("staff.amend", by=by, subject=member, was=was, **now)
    return member
