"""Accounts: the administrator adds members and changes their role; patients' data stay out of reach."""

from django.db import transaction

from clinic.models import Member
from clinic.trail import audit


@transaction.atomic
def add(
    *, by: Member | None, username: str, name: str, role: str, password: str, is_demo: bool = False
) -> Member:
    member = Member(username=username, name=name, role=role, is_demo=is_demo)
    member.set_password(password)
    member.save()
    audit.record("staff.add", by=by, subject=member, role=role)
    return member


@transaction.atomic
def amend(*, member: Member, by: Member, name: str, role: str, is_active: bool, password: str = "") -> Member:
    was = {"name": member.name, "role": member.role, "is_active": member.is_active}
    member.name, member.role, member.is_active = name, role, is_active
    if password:
        member.set_password(password)
    member.save(update_fields=["name", "role", "is_active", "password"])
    audit.record("staff.amend", by=by, subject=member, was=was, role=role, is_active=is_active)
    return member
