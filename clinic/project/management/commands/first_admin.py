import getpass
import sys
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic.models import Member, Role
from clinic.people import staffing


class Command(BaseCommand):
    help = "Make the first administrator of a new clinic. The password is asked for, or read from a pipe."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", required=True, help="as printed, such as 'Robin Example'")

    def handle(self, *args: Any, username: str, name: str, **options: Any) -> None:
        refuse_second()
        try:
            member = add(username=username, name=name, password=read_password())
        except ValidationError as error:
            raise CommandError("\n".join(error.messages)) from error
        self.stdout.write(f"{member.username} may now sign in as administrator and add the other staff.")


def refuse_second() -> None:
    # The command needs no password of anybody's: with it a second administrator could be slipped in.
    if Member.objects.filter(role=Role.ADMINISTRATOR, is_active=True, is_demo=False).exists():
        raise CommandError("There is an administrator already; further staff are added on the page Staff.")


def read_password() -> str:
    """Ask twice at a terminal; take the first line of a pipe as it is."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password = getpass.getpass("Password (12 characters or more): ")
    if getpass.getpass("Once more: ") != password:
        raise CommandError("The two differ; nothing was made.")
    return password


def add(*, username: str, name: str, password: str) -> Member:
    """Add the first administrator. Raises ValidationError where a word will not do."""
    member = Member(username=username, name=name, role=Role.ADMINISTRATOR)
    member.full_clean(exclude=["password"])
    validate_password(password, member)
    return staffing.add(by=None, username=username, name=name, role=member.role, password=password)
