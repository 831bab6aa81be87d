"""Open and end duties: nothing else writes them. Rights are those of the table; each act is audited."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from django.db import models, transaction
from django.db.models import Count, QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, NotAllowed, may, require
from clinic.duties import limits, wording
from clinic.duties.kinds import KINDS, OwningList, of_list
from clinic.models import Duty, EndGround, Member, Patient, Step, change
from clinic.trail import audit
from clinic.trail.audit import subject_of

# As long as for a visit: one number to remember for every slip of the hand.
TAKE_BACK = timedelta(minutes=10)
# A duty that stands on its list again, as if it had never ended.
_OPEN_AGAIN: dict[str, Any] = {
    "ended_at": None,
    "ended_by": None,
    "evidence": "",
    "ground": "",
    "end_note": "",
    "second": None,
}


class DutyRefused(ValueError):
    """Raised where a duty cannot be ended so; the text is the sentence for the page."""


def open_duty(
    kind: str,
    *,
    patient: Patient | None,
    opened_from: models.Model,
    by: Member | None,
    subject: str = "patient",
    urgent: bool = False,
    due_on: date | None = None,
    owner: Member | None = None,
    note: str = "",
    because: Mapping[str, Any] | None = None,
) -> Duty:
    """Open a duty once for the row that opens it; one that is open already stays as it is.

    `note` is what a person said; `because` what the program says, as a code and its parameters.
    """
    where = {"kind": kind, "opened_from": subject_of(opened_from), "ended_at": None}
    due_on = due_on or limits.in_force()[kind].due_on(clock.today(), urgent)
    fields = {"subject": subject, "urgent": urgent, "due_on": due_on, "owner": owner, "note": note}
    fields["because"] = dict(because or {})
    now = clock.now()
    more = {"patient": patient, "opened_at": now, "opened_by": by, "changed_at": now}
    # A unique row of the open duty decides: of two who open it at once, the second finds the first one's.
    row, new = Duty.objects.get_or_create(**where, defaults=fields | more)
    if new:
        details = {"kind": kind, "about": subject, "due_on": str(due_on), "urgent": urgent}
        audit.record("duty.open", by=by, subject=row, patient=patient, **details)
    return row


def end_duty(
    duty: Duty, *, by: Member | None, evidence: models.Model, note: str = "", seen: int | None = None
) -> Duty:
    """End a duty properly: `evidence` is the row that proves it. `by=None`: the row itself says who did it."""
    if by is not None and not may(by, KINDS[duty.kind].may_end):
        raise NotAllowed(f"{by} may not {KINDS[duty.kind].may_end.value}")
    # The revision guards against a stale page; where the program ends it, the row it just read is the newest.
    return _end(duty, by, seen, evidence=subject_of(evidence), end_note=note.strip())


def end_by_step(duty: Duty, *, by: Member, step: models.Model, seen: int) -> Duty:
    """End a duty by a plain entry whose own right was checked already: an outcome may need more than its kind."""
    return _end(duty, by, seen, evidence=subject_of(step))


def withdraw(duty: Duty, *, by: Member, because: models.Model | str) -> Duty:
    """Withdraw a duty that followed from a mistake; the row that struck the mistake through is the evidence."""
    evidence = because if isinstance(because, str) else subject_of(because)
    ended = {"ended_at": clock.now(), "ended_by": by, "evidence": evidence}
    change(duty, seen=duty.revision, at=clock.now(), where={"ended_at": None}, **ended)
    audit.record("duty.withdraw", by=by, subject=duty, patient=duty.patient, kind=duty.kind)
    return duty


@transaction.atomic
def end_with_ground(
    *, duty: Duty, by: Member, revision: int, ground: str, note: str, second: Member | None = None
) -> Duty:
    """End a duty with a ground in place of its proper end. “Entered in error” needs a second person who proposed it."""
    require(by, Act.END_DUTIES)
    if ground not in EndGround.values:
        raise DutyRefused(wording.CHOOSE_THE_GROUND)
    if not note.strip():
        raise DutyRefused(wording.WHAT_STANDS_BEHIND_IT)
    # A mistake is the one ground that nobody outside can confirm, and the easiest way to make a duty vanish.
    if ground == EndGround.ERROR and second in (None, by):
        raise DutyRefused(wording.ERROR_NEEDS_TWO)
    return _end(duty, by, revision, ground=ground, end_note=note.strip(), second=second)


def end_with_ground_of_two(duty: Duty, *, by: Member, second: Member, ground: str, note: str) -> Duty:
    """End a duty that one member proposed to end and another confirmed; one of the two is a dermatologist."""
    # Whoever confirms may be the nurse, where it was a dermatologist who proposed.
    if not (may(by, Act.END_DUTIES) or may(second, Act.END_DUTIES)):
        raise NotAllowed(f"{by} may not {Act.END_DUTIES.value}")
    return _end(duty, by, None, ground=ground, end_note=note, second=second)


def end_by_hand_over(duty: Duty, *, step: Step, ground: str, note: str) -> Duty:
    """End a duty because somebody else looks after the patient now; the entry that says who is kept with the ground."""
    return _end(duty, step.by, None, ground=ground, end_note=note, evidence=subject_of(step))


def reopen(patient: Patient, *, evidence: models.Model, by: Member) -> None:
    """Open again every duty that this row ended, unless the same is owed anew already."""
    open_now = set(open_duties(patient).values_list("kind", "opened_from"))
    for row in Duty.objects.filter(patient=patient, evidence=subject_of(evidence)).select_related("patient"):
        # A unique index allows one of them; the newer one stands on its list already.
        if (row.kind, row.opened_from) in open_now:
            continue
        change(row, seen=row.revision, at=clock.now(), **_OPEN_AGAIN)
        audit.record("duty.take_back", by=by, subject=row, patient=patient, kind=row.kind)


def _end(duty: Duty, by: Member | None, seen: int | None, **fields: object) -> Duty:
    ended = {"ended_at": clock.now(), "ended_by": by, **fields}
    seen = duty.revision if seen is None else seen
    # Ended twice, the second end would overwrite the evidence of the first.
    change(duty, seen=seen, at=clock.now(), where={"ended_at": None}, **ended)
    details = {name: str(value) for name, value in fields.items() if value}
    audit.record("duty.end", by=by, subject=duty, patient=duty.patient, kind=duty.kind, **details)
    return duty


def end_all(
    kinds: Iterable[str],
    *,
    by: Member | None,
    evidence: models.Model,
    subject: str | None = None,
    opened_from: models.Model | None = None,
    patient: Patient | None = None,
) -> list[Duty]:
    """End every open duty of these kinds about one thing, by one row that proves it."""
    # Row by row, not one update: each ending is checked, audited and may be stale by itself.
    rows = open_duties(patient).filter(kind__in=list(kinds))
    if subject is not None:
        rows = rows.filter(subject=subject)
    if opened_from is not None:
        rows = rows.filter(opened_from=subject_of(opened_from))
    return [end_duty(row, by=by, evidence=evidence) for row in rows]


# Label of the row that ended a duty → how an app undoes that row with its key when the end is taken back.
UNDO: dict[str, Callable[[Duty, Member, int], None]] = {}


@transaction.atomic
def take_back(*, duty: Duty, by: Member, revision: int) -> Duty:
    """Take back a wrong end, by who made it and within ten minutes: the duty stands on its list again."""
    # Somebody else's word is not taken back but answered: by an entry of one's own.
    if duty.ended_at is None or duty.ended_by_id != by.pk:
        raise DutyRefused(wording.ONLY_WHO_ENDED_IT)
    if clock.now() - duty.ended_at > TAKE_BACK:
        raise DutyRefused(wording.TEN_MINUTES_ARE_OVER)
    # Kept for the trail: the next statement empties these fields.
    what = duty.evidence or duty.ground
    change(duty, seen=revision, at=clock.now(), **_OPEN_AGAIN)
    audit.record("duty.take_back", by=by, subject=duty, patient=duty.patient, kind=duty.kind, was=what)
    label, _, key = what.partition(":")
    if undo := UNDO.get(label):
        undo(duty, by, int(key))
    return duty


@transaction.atomic
def put_off(*, duty: Duty, by: Member, revision: int, until: date, note: str) -> Duty:
    """Give a duty a later day, with a word; only a dermatologist may."""
    require(by, Act.END_DUTIES)
    # Ninety days: far enough for any report, too near to lose sight of somebody (clinic setting, no source).
    if not clock.today() < until <= clock.today() + timedelta(days=90):
        raise DutyRefused(wording.UNTIL_WHEN)
    if not note.strip():
        raise DutyRefused(wording.WHY_IT_CAN_WAIT)
    change(duty, seen=revision, at=clock.now(), where={"ended_at": None}, due_on=until)
    audit.record(
        "duty.put_off", by=by, subject=duty, patient=duty.patient, kind=duty.kind, until=str(until), note=note
    )
    return duty


@transaction.atomic
def give_to(*, duty: Duty, by: Member, owner: Member, revision: int) -> Duty:
    """Name who does it, such as who tells a result; a dermatologist does."""
    require(by, Act.END_DUTIES)
    act = KINDS[duty.kind].may_end
    if not (owner.is_active and may(owner, act)):
        raise DutyRefused(_("%(who)s may not %(act)s.") % {"who": owner, "act": act.value})
    change(duty, seen=revision, at=clock.now(), where={"ended_at": None}, owner=owner)
    details = {"kind": duty.kind, "owner": owner.pk}
    audit.record("duty.give", by=by, subject=duty, patient=duty.patient, **details)
    return duty


def open_duties(patient: Patient | None = None) -> QuerySet[Duty]:
    """Find the open duties of a patient, or of everybody."""
    rows = Duty.objects.filter(ended_at__isnull=True)
    rows = rows if patient is None else rows.filter(patient=patient)
    return rows.select_related("patient", "owner", "opened_by")


def on_list(owner: OwningList) -> QuerySet[Duty]:
    """Find the open duties of a list, urgent first, then by the day they are due."""
    return open_duties().filter(kind__in=of_list(owner)).order_by("-urgent", "due_on", "pk")


def counts() -> QuerySet[Duty, tuple[str, int]]:
    """Count the open duties of each kind."""
    # Without an order, because counts of many lists are joined into one question and SQLite allows no order there.
    return Duty.objects.filter(ended_at__isnull=True).values_list("kind").annotate(Count("pk")).order_by()
