"""Accounts: the administrator adds members and changes their role; patients' data stay out of reach."""

from typing import Any

from django.db import transaction

from clinic.models import Member
from clinic.trail import audit


@transaction.atomic
def add(
    *,
    by: Member | None,
    username: str,
    name: str,
    role: str,
    password: str,
    checks_skin: bool = False,
    is_demo: bool = False,
) -> Member:
    member = Member(username=username, name=name, role=role, checks_skin=checks_skin, is_demo=is_demo)
    member.set_password(password)
    member.save()
    audit.record("staff.add", by=by, subject=member, role=role)
    return member


@transaction.atomic
def amend(
    *,
    member: Member,
    by: Member,
    name: str,
    role: str,
    is_active: bool,
    checks_skin: bool = False,
    password: str = "",
) -> Member:
    fields: dict[str, Any] = {"name": name, "role": role, "is_active": is_active, "checks_skin": checks_skin}
    was = {field: getattr(member, field) for field in fields}
    for field, value in fields.items():
        setattr(member, field, value)
    if password:
        member.set_password(password)
    member.save(update_fields=[*fields, "password"])
    audit.record("staff.amend", by=by, subject=member, was=was, now=fields)
    return member
