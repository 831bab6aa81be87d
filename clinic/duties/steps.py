"""Settle a duty by a plain entry: the entry proves the end, and the duty that follows from it opens."""

from collections.abc import Callable
from datetime import date, timedelta

from django.db import transaction

from clinic import clock
from clinic.access import require
from clinic.duties import ledger, telling, wording
from clinic.duties.ledger import DutyRefused
from clinic.duties.outcomes import Outcome, act_of, outcomes_of
from clinic.duties.telling import WhoWasTold
from clinic.models import Duty, Member, Step, StruckStep
from clinic.models.duty import How
from clinic.trail import audit
from clinic.trail.record_days import check_day

LONGEST = timedelta(days=90)
# kind → what an app does besides when a step of this kind was recorded, or was struck through
Hook = Callable[[Step], None]
# Kept apart from the table of outcomes: what happens belongs to upper apps, which this one must not import.
SETTLED: dict[str, Hook] = {}
STRUCK: dict[str, Hook] = {}


def register_hooks(kind: str, *, settled: Hook, struck: Hook) -> None:
    """Register what an app writes beside an entry, such as the day a patient was told; called in `ready()`."""
    if kind in SETTLED:
        raise RuntimeError(f"the steps of {kind!r} are followed already")
    SETTLED[kind], STRUCK[kind] = settled, struck


@transaction.atomic
def settle(
    *,
    duty: Duty,
    by: Member,
    revision: int,
    outcome: str,
    on: date | None = None,
    whom: str = "",
    told: WhoWasTold | None = None,
    how: str = "",
    words: str = "",
    until: date | None = None,
    teller: Member | None = None,
) -> Step:
    """Record what came of a duty and end it by that. Raises DutyRefused, NotAllowed, or StaleRow.

    `told`: who was told a result. `teller`: whom the reader of a result names to tell it.
    """
    chosen, on, told, whom = (
        _chosen(duty.kind, outcome),
        on or clock.today(),
        told or WhoWasTold(),
        whom.strip(),
    )
    require(by, act_of(duty.kind, chosen))
    _check_day(duty, on)
    _check_until(until)
    telling.check(told, whom=whom, duty=duty, outcome=chosen, on=on)
    given = {"whom": whom, **told.stated(), "how": how, "words": words.strip(), "until": until}
    for name in chosen.needs:
        if not given[name]:
            raise DutyRefused(wording.MISSING[name])
    if how and how not in How.values:
        raise DutyRefused(wording.MISSING["how"])
    # The step comes first: the duty's end names it as its evidence.
    step = Step.objects.create(duty=duty, outcome=outcome, on=on, by=by, at=clock.now(), **given)
    ledger.end_by_step(duty, by=by, step=step, seen=revision)
    follow(step, chosen, teller)
    return step


def _check_until(until: date | None) -> None:
    if until is not None and not clock.today() < until <= clock.today() + LONGEST:
        raise DutyRefused(wording.UNTIL_WHEN)


def _chosen(kind: str, outcome: str) -> Outcome:
    for one in outcomes_of(kind):
        if one.code == outcome:
            return one
    raise DutyRefused(wording.WHAT_CAME_OF_IT)


def _check_day(duty: Duty, on: date) -> None:
    # A caller nobody could find has no birth and no death to compare a day with.
    if duty.patient is not None:
        check_day(duty.patient, on, wording.THIS_STEP, after_death=True)


def follow(step: Step, chosen: Outcome, teller: Member | None = None) -> None:
    """Open the duty that follows from an entry, and let the app write what belongs to it."""
    duty = step.duty
    if chosen.then:
        ledger.open_duty(
            chosen.then,
            patient=duty.patient,
            opened_from=step,
            by=step.by,
            subject=duty.subject,
            urgent=duty.urgent or chosen.then_urgent,
            # Only telling follows a person, whom the reader named; every other duty is free for the list.
            owner=(teller or duty.owner) if chosen.then == "tell" else None,
            due_on=step.until,
            note=step.words,
            because={"step": duty.kind, "outcome": chosen.code},
        )
    if hook := SETTLED.get(duty.kind):
        hook(step)


@transaction.atomic
def strike(*, step: Step, by: Member) -> StruckStep:
    """Take back an entry within ten minutes, by who made it; refused where somebody acted on what followed."""
    duty = step.duty
    # Asked before anything is written: what followed may have been told to a patient by now.
    _check_not_acted_on(step)
    row = StruckStep.objects.create(step=step, by=by, at=clock.now())
    ledger.take_back(duty=duty, by=by, revision=duty.revision)
    # Withdrawn and not deleted: who saw it on the list must be able to find out what became of it.
    for following in Duty.objects.filter(opened_from=audit.subject_of(step), ended_at__isnull=True):
        ledger.withdraw(following, by=by, because=row)
    if hook := STRUCK.get(duty.kind):
        hook(step)
    return row


def _check_not_acted_on(step: Step) -> None:
    acted = Duty.objects.filter(opened_from=audit.subject_of(step), ended_at__isnull=False)
    done = acted.select_related("ended_by").first()
    if done:
        raise DutyRefused(wording.say_acted_on(done))
