"""Ending a patient's care: what is open is named, closed with its ground or handed over; resuming opens it again.

Upper apps say what they have open, and close or reopen it when care ends or is resumed.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger, proposals
from clinic.duties.kinds import KINDS
from clinic.duties.proposals import Proposable
from clinic.models import CareEnd, Duty, EndGround, Member, Patient, PatientStatus, Proposal, Step, change
from clinic.people import wording
from clinic.people.patients import PatientRefused, find_a_way
from clinic.trail import audit
from clinic.trail.audit import subject_of
from clinic.trail.record_days import check_day
from clinic.wording import Words

ACT = "patient.end_care"
# A duty that care ends while it is open keeps this ground, once it is handed over.
GROUND_OF: dict[str, EndGround] = {
    PatientStatus.DECEASED: EndGround.DECEASED,
    PatientStatus.TRANSFERRED: EndGround.TRANSFERRED,
    PatientStatus.MOVED: EndGround.MOVED,
    PatientStatus.DISCHARGED: EndGround.DISCHARGE,
}


@dataclass(frozen=True)
class Keeper:
    """What an app keeps open for a patient.

    `closes`: words of what ends at once with the ground, such as recalls and appointments; `outlives`: what stays
    owed until it is handed over, such as a specimen without a report.
    """

    closes: Callable[[Patient], list[Words]]
    outlives: Callable[[Patient], list[Words]]
    close: Callable[[CareEnd], None]
    hand_over: Callable[[Patient, Step], None]
    reopen: Callable[[CareEnd, Member], None]


KEEPERS: dict[str, Keeper] = {}


def register_keeper(app: str, keeper: Keeper) -> None:
    """Have an app say what it keeps open for a patient; each calls this in `ready()`."""
    KEEPERS[app] = keeper


def closes(patient: Patient) -> list[Words]:
    """Say in words what the end of care closes at once."""
    return [words for keeper in KEEPERS.values() for words in keeper.closes(patient)]


def outlives(patient: Patient) -> list[Words]:
    """Say in words what stays owed until it is handed over or has its own proper end."""
    owed = [KINDS[row.kind].words for row in _ledger(patient)]
    return [*owed, *(words for keeper in KEEPERS.values() for words in keeper.outlives(patient))]


def _ledger(patient: Patient) -> Iterable[Duty]:
    return ledger.open_duties(patient).exclude(kind="hand_over")


@transaction.atomic
def end_care(
    *,
    patient: Patient,
    by: Member,
    revision: int,
    status: str,
    on: date,
    ground: str,
    second: Member | None = None,
) -> Patient:
    """End a patient's care and close what ends with it; what outlives it makes the care “ending” until handed over."""
    # With a second person the right was asked for when that proposal was confirmed.
    if second is None:
        require(by, Act.END_CARE)
    _check(patient, status, on, ground)
    row = CareEnd.objects.create(
        patient=patient, ends_as=status, on=on, ground=ground.strip(), by=by, second=second, at=clock.now()
    )
    for keeper in KEEPERS.values():
        keeper.close(row)
    proposals.settle_all(proposals.waiting().filter(patient=patient), "care_ended", ground=ground.strip())
    # After the keepers have closed what ends at once: the rest is what somebody must hand over.
    left = outlives(patient)
    fields: dict[str, Any] = {
        "status": PatientStatus.ENDING if left else status,
        "ending_as": status if left else "",
    }
    said: dict[str, Any] = {"status_on": on, "status_ground": ground.strip()}
    change(patient, seen=revision, at=clock.now(), **fields, **said)
    if left:
        # Care does not end over something owed: first somebody outside must have taken it on.
        ledger.open_duty("hand_over", patient=patient, opened_from=row, by=by)
    audit.record(
        "patient.end_care",
        by=by,
        subject=patient,
        patient=patient,
        status=status,
        ground=ground,
        left=len(left),
    )
    return patient


def _check(patient: Patient, status: str, on: date, ground: str) -> None:
    if status not in GROUND_OF or not ground.strip():
        raise PatientRefused(wording.STATUS_AND_GROUND)
    if patient.status != PatientStatus.ACTIVE:
        raise PatientRefused(wording.ENDED_ALREADY)
    check_day(patient, on, wording.THE_END_OF_CARE)


def finish(step: Step) -> None:
    """Finish the end of care once all is handed over: the rest ends with its ground, the status becomes final."""
    assert step.duty.patient_id is not None  # a hand-over is always somebody's
    patient = Patient.objects.select_for_update().get(pk=step.duty.patient_id)
    # Care was resumed since: the step stays on record and ends nothing.
    if patient.status != PatientStatus.ENDING:
        return
    note = f"{step.whom}: {step.words}"
    for duty in _ledger(patient):
        ledger.end_by_hand_over(duty, step=step, ground=GROUND_OF[patient.ending_as], note=note)
    for keeper in KEEPERS.values():
        keeper.hand_over(patient, step)
    final: dict[str, Any] = {"status": patient.ending_as, "ending_as": ""}
    change(patient, seen=patient.revision, at=clock.now(), **final)
    audit.record("patient.care_ended", by=step.by, subject=patient, patient=patient, whom=step.whom)


def unfinish(step: Step) -> None:
    """Refuse to take a finished hand-over back: resuming care is the way."""
    raise ledger.DutyRefused(wording.RESUME_INSTEAD)


@transaction.atomic
def resume_care(*, patient: Patient, by: Member, revision: int) -> Patient:
    """Resume care, also of a person wrongly recorded as deceased: what the end closed is open again."""
    require(by, Act.END_CARE)
    was = patient.status
    fresh: dict[str, Any] = {
        "status": PatientStatus.ACTIVE,
        "ending_as": "",
        "status_on": None,
        "status_ground": "",
    }
    change(patient, seen=revision, at=clock.now(), **fresh)
    end = patient.care_ends.first()
    if end is not None:
        for keeper in KEEPERS.values():
            keeper.reopen(end, by)
        _reopen_handed_over(patient, end, by)
    # That duty was closed with the care, and the routes may be as dead as before.
    if not patient.routes.working(clock.today()).exists():
        find_a_way(patient=patient, because=end or patient, by=by)
    audit.record("patient.resume_care", by=by, subject=patient, patient=patient, was=was)
    return patient


def _reopen_handed_over(patient: Patient, end: CareEnd, by: Member) -> None:
    for step in Step.objects.filter(duty__opened_from=subject_of(end)).exclude(duty__ended_at=None):
        ledger.reopen(patient, evidence=step, by=by)
    for duty in ledger.open_duties(patient).filter(kind="hand_over"):
        ledger.withdraw(duty, by=by, because=end)


@transaction.atomic
def propose(*, patient: Patient, by: Member, status: str, on: date, ground: str) -> Proposal:
    """Propose the end of care (death, a move, care elsewhere); a proposed death stops calls and letters at once."""
    _check(patient, status, on, ground)
    # The day as text: fields of a proposal are kept as JSON.
    return proposals.propose(
        ACT, patient=patient, subject=patient, by=by, reason=ground, status=status, on=str(on)
    )


def _apply(proposal: Proposal, by: Member) -> None:
    patient = Patient.objects.get(pk=proposal.patient_id)
    given = proposal.fields
    end_care(
        patient=patient,
        by=by,
        revision=patient.revision,
        status=given["status"],
        on=date.fromisoformat(given["on"]),
        ground=proposal.reason,
        second=proposal.proposed_by,
    )


def _describe(rows: Iterable[Proposal]) -> dict[int, str]:
    return {row.pk: wording.say_end_of_care(row.fields["status"]) for row in rows}


ENDING = Proposable(wording.END_CARE, _apply, _describe)


def evidence_of(end: CareEnd) -> str:
    """Give the words by which rows name the end of care that closed them."""
    return subject_of(end)
