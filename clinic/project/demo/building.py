"""Build the demo clinic into a migrated, empty database."""

import secrets
from collections.abc import Callable

from clinic import clock, policies
from clinic.models import Member, PolicyKind, Role
from clinic.people import risk, staffing
from clinic.project.demo import desk, pictures
from clinic.project.demo.acts import DemoClinic, Part
from clinic.project.demo.calendar import Calendar, moment
from clinic.project.demo.data_folder import Login
from clinic.project.demo.events import Person
from clinic.project.demo.histories import HISTORIES
from clinic.project.demo.people import CLINIC, PEOPLE, STAFF
from clinic.project.demo.playback import play
from clinic.project.demo.processes import Workers, start_workers
from lesions.limits import flags
from scheduling.rules.ruleset import ruleset

Say = Callable[[str], None]
# Two years and some days: the longest history begins 702 days ago.
FIRST_DAY = 735
DRAFTED = 6  # days ago
# A change that makes nobody wait longer, so that the preview shows whom an earlier last day makes overdue.
NEXT_RULES = (
    ('version = "1"', 'version = "2"'),
    ('for = "once", early = "P14D", late = "P28D"', 'for = "once", early = "P14D", late = "P14D"'),
    ("28 days late are the clinic's", "14 days late are the clinic's"),
)
# The reduced build for tests: people who together still fill every list, with small pictures.
FEW = frozenset(
    (
        "iiib-missed",
        "no-thickness",
        "lapsed",
        "grown",
        "unchanged",
        "urgent-claimed",
        "firsts",
        "just-photographed",
        "biopsied",
        "not-told",
        "to-tell",
        "average",
        "no-risk",
        "deceased",
        "same-name-elder",
        "same-name-younger",
    )
)
WIDTH, SMALL_WIDTH = 900, 720


def build(progress: Say, size: str = "full", processes: int = 2) -> list[Login]:
    """Fill the clinic; `size="small"` takes the few people who together still fill every list."""
    small = size == "small"
    people = [person for person in PEOPLE if not small or person.key in FEW]
    calendar = Calendar(clock.today())
    logins = [
        Login(str(worker.role), worker.username, secrets.token_urlsafe(9), worker.name) for worker in STAFF
    ]
    with start_workers(processes) as workers:
        demo = open_clinic(calendar, logins, workers)
        parts = cast(people, SMALL_WIDTH if small else WIDTH, workers, progress)
        progress(f"Playing two years at the {CLINIC} with {len(parts)} people ...")
        play(demo, parts, HISTORIES)
    draft_next(demo)
    progress("Writing today's lists ...")
    desk.write_lists(demo)
    return logins


def open_clinic(calendar: Calendar, logins: list[Login], workers: Workers) -> DemoClinic:
    """Add staff and bring rules, limits and tiers into force on the first day, two years ago."""
    with clock.at(moment(calendar.day(FIRST_DAY), 0)):
        staff = [
            staffing.add(
                # Nobody works here yet who could add them, as with the first administrator.
                by=None,
                username=row.username,
                name=row.name,
                role=row.role,
                password=row.password,
                is_demo=True,
            )
            for row in logins
        ]
        nurses, doctors = (
            tuple(m for m in staff if m.role == role) for role in (Role.NURSE, Role.DERMATOLOGIST)
        )
        bring_into_force(PolicyKind.RULES, ruleset.shipped("default"), doctors)
        bring_into_force(PolicyKind.FLAGS, flags.shipped(), doctors)
        bring_into_force(PolicyKind.TIERS, risk.shipped(), doctors)
        demo = DemoClinic(calendar, nurses, doctors, workers)
        desk.open_diary(demo)
    return demo


def bring_into_force(kind: PolicyKind, toml: str, doctors: tuple[Member, ...]) -> None:
    """Bring a policy into force: one dermatologist proposes, the other approves."""
    drafted = policies.draft(kind=kind, toml=toml, by=doctors[0])
    proposed = policies.propose(policy=drafted, by=doctors[0], revision=drafted.revision)
    policies.approve(policy=proposed, by=doctors[1], revision=proposed.revision)


def draft_next(demo: DemoClinic) -> None:
    """Leave a later rule set as a draft: the last day for a second look comes two weeks earlier."""
    toml = ruleset.shipped("default")
    for old, new in NEXT_RULES:
        toml = toml.replace(old, new, 1)
    with clock.at(moment(demo.calendar.day(DRAFTED), 0)):
        policies.draft(kind=PolicyKind.RULES, toml=toml, by=demo.dermatologists[1])


def cast(people: list[Person], width: int, workers: Workers, progress: Say) -> list[Part]:
    """Draw everybody's pictures; the people are registered on the day on which they first come."""
    plans = [pictures.planned(person, HISTORIES[person.key], width) for person in people]
    wanted = [picture.spec for plan in plans for picture in plan.values()]
    progress(f"Drawing {len(wanted)} pictures ...")
    drawn = iter(workers.map(pictures.jpeg, wanted))
    shots = [{shot: (picture, next(drawn)) for shot, picture in plan.items()} for plan in plans]
    return [Part(number, person, shots[number - 1]) for number, person in enumerate(people, start=1)]
