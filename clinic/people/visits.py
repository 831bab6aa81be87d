"""Record visits: only what was done completes anything, not attendance, nor a tick for what is proved otherwise."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction

from clinic import clock
from clinic.access import Act, NotAllowed, may
from clinic.models import DoneItem, Member, Patient, Purpose, Visit, change
from clinic.models.visit import ABOUT, is_about
from clinic.people import wording
from clinic.trail import audit
from clinic.trail.record_days import check_day

# Long enough to see that it was the wrong patient, too short for others to have relied on it (clinic setting, no
# source).
TAKE_BACK = timedelta(minutes=10)
# Who may say that it was done. What is not named here, whoever records a visit may say.
NEEDS: dict[str, Act] = {
    Purpose.FULL_SKIN_CHECK: Act.SKIN_CHECK,
    Purpose.REST_OF_SKIN_CHECK: Act.SKIN_CHECK,
    Purpose.LESION_EXAMINATION: Act.EXAMINE,
}


class VisitRefused(ValueError):
    """Raised where a visit cannot be recorded or taken back so; the text is the sentence for the page."""


@dataclass(frozen=True)
class Follower:
    """What an upper app records beside an item that was done, and what it withdraws when the visit is taken back."""

    done: Callable[[Visit, str], None]
    struck: Callable[[Visit], None]


FOLLOWERS: dict[str, Follower] = {}
# Asked before a visit is taken back; raises VisitRefused where somebody already acted on it.
BEFORE_TAKE_BACK: list[Callable[[Visit], None]] = []


def follow(purpose: str, *, done: Callable[[Visit, str], None], struck: Callable[[Visit], None]) -> None:
    FOLLOWERS[purpose] = Follower(done, struck)


@transaction.atomic
def record(
    *, patient: Patient, by: Member, attended_on: date, done: Iterable[tuple[str, str]] = (), note: str = ""
) -> Visit:
    """Record a visit; `done` holds pairs (purpose, subject) of FACTS, such as ("wound_check", "procedure:12").

    Raises WrongDay where the visit cannot have been on that day, NotAllowed where somebody else must say it was done.
    """
    check_day(patient, attended_on, wording.THE_VISIT)
    done = list(dict.fromkeys(done))
    _check(done, by)
    visit = Visit.objects.create(
        patient=patient, by=by, attended_on=attended_on, note=note, changed_at=clock.now()
    )
    items = [DoneItem(visit=visit, purpose=purpose, subject=subject) for purpose, subject in done]
    DoneItem.objects.bulk_create(items)
    for purpose, subject in done:
        if follower := FOLLOWERS.get(purpose):
            follower.done(visit, subject)
    what = [[item.purpose, item.subject] for item in items]
    audit.record(
        "visit.record", by=by, subject=visit, patient=patient, attended_on=str(attended_on), done=what
    )
    return visit


def _check(done: Iterable[tuple[str, str]], by: Member) -> None:
    """Refuse an item about the wrong kind of thing: it would complete nothing, and nobody would see it."""
    for purpose, subject in done:
        if not is_about(purpose, subject):
            raise ValueError(f"{purpose} is done for a {ABOUT[Purpose(purpose)]}, not for {subject}.")
        if purpose in wording.NEVER_TICKED:
            raise VisitRefused(wording.NEVER_TICKED[purpose])
        if not may_say_done(by, purpose):
            raise NotAllowed(f"{by} may not {NEEDS[purpose].value}")


def may_say_done(by: Member, purpose: str) -> bool:
    """Say whether this member's tick is enough to say that this item was done."""
    return purpose not in wording.NEVER_TICKED and (purpose not in NEEDS or may(by, NEEDS[purpose]))


@transaction.atomic
def take_back(*, visit: Visit, by: Member, revision: int) -> Visit:
    """Strike a wrong visit through, by who recorded it, within ten minutes: what it completed is owed again."""
    if visit.by_id != by.pk or visit.struck_at is not None:
        raise VisitRefused(wording.ONLY_WHO_RECORDED_IT)
    if clock.now() - visit.changed_at > TAKE_BACK:
        raise VisitRefused(wording.TEN_MINUTES_ARE_OVER)
    for ask in BEFORE_TAKE_BACK:
        ask(visit)
    what = [[item.purpose, item.subject] for item in visit.done.all()]
    for purpose, _ in what:
        if follower := FOLLOWERS.get(purpose):
            follower.struck(visit)
    # The visit stays and only these rows go: by them alone something counts as done; the record below keeps them.
    visit.done.all().delete()
    change(visit, seen=revision, at=clock.now(), struck_at=clock.now(), struck_by=by)
    audit.record("visit.take_back", by=by, subject=visit, patient=visit.patient, done=what)
    return visit


def to_take_back(patient: Patient, by: Member) -> Visit | None:
    """Find the last visit that this member recorded and may still take back."""
    mine = Visit.objects.filter(patient=patient, by=by, struck_at=None)
    return mine.filter(changed_at__gt=clock.now() - TAKE_BACK).order_by("-pk").first()
