"""Put recalls on the list and close them: none closes itself; each end has its ground and its person."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger, proposals
from clinic.duties.proposals import Proposable
from clinic.models import Member, PatientStatus, Proposal, change
from clinic.trail import audit
from scheduling.models import OPEN, AppointmentState, Ground, Recall, RecallState, Urgency
from scheduling.planning import ladder
from scheduling.planning.replan import (
    open_again,
    state_on,
    still_asked_for,
    supersede,
)
from scheduling.recalls import asked, wording

ACT = "recall.close"


class RecallRefused(ValueError):
    """Raised where a recall cannot be closed or opened so; the text is the sentence for the page."""


@transaction.atomic
def become_due(today: date) -> int:
    """Put planned recalls on the list once their ladder's length before the earliest day is reached."""
    count = 0
    for urgency in Urgency.values:
        # A ladder's length ahead (docs/domain.md, 9): tried as often as it allows, they are still reached in time.
        reached = today + timedelta(days=ladder.standing_of(urgency).lead_days)
        rows = Recall.objects.filter(
            state=RecallState.PLANNED,
            urgency=urgency,
            earliest__lte=reached,
            patient__status=PatientStatus.ACTIVE,
            patient__merged_into__isnull=True,
        )
        for row in rows.select_related("patient"):
            change(row, seen=row.revision, at=clock.now(), state=RecallState.DUE)
            audit.record("recall.due", by=None, subject=row, patient=row.patient)
            count += 1
    return count


@transaction.atomic
def propose_closing(*, recall: Recall, by: Member, revision: int, ground: str, note: str) -> Recall:
    """Propose to close a recall; it stays open and on the list until somebody else has closed it."""
    require(by, Act.PROPOSE_CLOSING)
    _check_open(recall)
    _check_ground(ground, note)
    fields = {"proposed_ground": ground, "proposed_note": note.strip(), "proposed_by": by}
    # One proposal waits at a time; the newer one says more, and its author reads what became of the older.
    proposals.settle_all(proposals.about(recall), "replaced")
    proposals.propose(
        ACT,
        patient=recall.patient,
        subject=recall,
        by=by,
        reason=note,
        urgent=recall.urgency == Urgency.A,
        ground=ground,
    )
    change(recall, seen=revision, at=clock.now(), where={"state__in": OPEN}, **fields)
    audit.record(
        "recall.propose_closing", by=by, subject=recall, patient=recall.patient, ground=ground, note=note
    )
    return recall


@transaction.atomic
def close(*, recall: Recall, by: Member, revision: int, ground: str, note: str) -> Recall:
    """Close a recall with a ground. A and B need a dermatologist unless superseded; an error a second person."""
    _check_right(recall, by, ground)
    # A mistake is the one ground that nobody outside can confirm, so it takes two.
    if ground == Ground.ERROR and recall.proposed_by_id in (None, by.pk):
        raise RecallRefused(
            _("“Entered in error” is closed by a second person, after somebody else proposed it.")
        )
    _close(recall, by, revision, ground, note)
    desk_may = ladder.standing_of(recall.urgency).closed_by_desk
    asked.answer(recall, by=[by, None] if desk_may else [by], evidence=recall)
    proposals.settle_all(proposals.about(recall), "closed", who=str(by))
    return recall


@transaction.atomic
def take_back(*, recall: Recall, by: Member, revision: int) -> Recall:
    """Take a wrong closing back, by who closed it and within ten minutes: open with its dates, and asked what was."""
    if not may_take_back(recall, by):
        raise RecallRefused(
            _("Only who closed it takes it back, within ten minutes; later it is set as a day of its own.")
        )
    following = Recall.objects.filter(
        patient=recall.patient, purpose=recall.purpose, subject=recall.subject, state__in=OPEN
    )
    for row in following.select_related("patient"):
        if row.state == RecallState.BOOKED:
            raise RecallRefused(_("What follows from it is booked already: cancel that first."))
        # What followed was opened because this one was closed; both open, the patient would be called twice.
        supersede(row, code="closing_taken_back")
    # By today's date and not as it was: in these ten minutes midnight may have made it due.
    fresh = {"ground": "", "ground_note": "", "ended_on": None, "closed_by": None}
    change(
        recall,
        seen=revision,
        at=clock.now(),
        where={"state": RecallState.CLOSED},
        state=state_on(recall),
        **fresh,
    )
    ledger.reopen(recall.patient, evidence=recall, by=by)
    audit.record("recall.take_back", by=by, subject=recall, patient=recall.patient, latest=str(recall.latest))
    return recall


def may_take_back(recall: Recall, by: Member) -> bool:
    """Say whether it can be: what the end of care closed, resuming opens; a discharge has a row of its own."""
    mine = recall.state == RecallState.CLOSED and recall.closed_by_id == by.pk and not recall.evidence
    return mine and clock.now() - recall.changed_at <= ledger.TAKE_BACK


def _close(recall: Recall, by: Member, revision: int, ground: str, note: str) -> None:
    _check_open(recall)
    _check_ground(ground, note)
    # Otherwise somebody would still come, for something that is closed.
    if recall.appointments.filter(state=AppointmentState.BOOKED).exists():
        raise RecallRefused(_("An appointment is still open: say first how it ended, or cancel it."))
    fields: dict[str, Any] = {"state": RecallState.CLOSED, "ground": ground, "ground_note": note.strip()}
    still = {"state__in": OPEN}
    change(recall, seen=revision, at=clock.now(), where=still, ended_on=clock.today(), closed_by=by, **fields)
    audit.record("recall.close", by=by, subject=recall, patient=recall.patient, ground=ground, note=note)


def _recall_of(proposal: Proposal) -> Recall:
    return Recall.objects.select_related("patient").get(pk=proposals.key_of(proposal))


def _confirm(proposal: Proposal, by: Member) -> None:
    """Close what was proposed: two people have said it by now, one of them a dermatologist."""
    recall = _recall_of(proposal)
    _close(recall, by, recall.revision, proposal.fields["ground"], proposal.reason)
    asked.answer(recall, by=[by, proposal.proposed_by], evidence=recall)


def _refused(proposal: Proposal) -> None:
    recall = _recall_of(proposal)
    # The list showed “closing proposed” and left the recall alone: it is to be called for again.
    nobody: dict[str, Any] = {"proposed_ground": "", "proposed_note": "", "proposed_by": None}
    change(recall, seen=recall.revision, at=clock.now(), **nobody)


def _describe(rows: Sequence[Proposal]) -> dict[int, str]:
    recalls = Recall.objects.in_bulk([proposals.key_of(row) for row in rows])
    places = wording.subjects(recalls.values())
    return {row.pk: _in_words(row, recalls[proposals.key_of(row)], places) for row in rows}


def _in_words(proposal: Proposal, recall: Recall, places: dict[str, str]) -> str:
    said = {"what": wording.what_for(recall, places), "ground": Ground(proposal.fields["ground"]).label}
    return _("close: %(what)s; %(ground)s") % said


CLOSE = Proposable(gettext_lazy("close a recall"), _confirm, _describe, either=True, refused=_refused)


@transaction.atomic
def mark_unreachable(*, recall: Recall, by: Member, revision: int, next_look_on: date, note: str) -> Recall:
    """Mark a recall as “cannot be reached”: it stays open, with a day on which somebody looks again."""
    require(by, Act.CLOSE_RECALLS)
    _check_open(recall)
    latest = clock.today() + timedelta(days=ladder.LOOK_AGAIN_DAYS)
    # Not for ever: “cannot be reached” without a day would be the place where people are forgotten.
    if not clock.today() < next_look_on <= latest:
        raise RecallRefused(
            _("Say when it is looked at again: from tomorrow to %(days)s days ahead.")
            % {"days": ladder.LOOK_AGAIN_DAYS}
        )
    change(recall, seen=revision, at=clock.now(), where={"state__in": OPEN}, next_look_on=next_look_on)
    audit.record(
        "recall.unreachable",
        by=by,
        subject=recall,
        patient=recall.patient,
        next_look_on=str(next_look_on),
        note=note,
    )
    return recall


def reopen(recall: Recall, *, by: Member, why: str) -> None:
    """Open a recall again whose appointment came to nothing, with its original dates, in the caller's transaction."""
    if recall.state != RecallState.BOOKED:
        return
    change(recall, seen=recall.revision, at=clock.now(), **open_again(recall))
    audit.record(
        "recall.reopen", by=by, subject=recall, patient=recall.patient, why=why, latest=str(recall.latest)
    )
    # While it was booked the plan may have dropped it; then nobody is to be called for it.
    if not still_asked_for(recall):
        supersede(recall)


def _check_right(recall: Recall, by: Member, ground: str) -> None:
    desk_may = ladder.standing_of(recall.urgency).closed_by_desk or ground == Ground.SUPERSEDED
    require(by, Act.PROPOSE_CLOSING if desk_may else Act.CLOSE_RECALLS)


def _check_open(recall: Recall) -> None:
    if recall.state not in OPEN:
        raise RecallRefused(_("This recall is closed already."))


def _check_ground(ground: str, note: str) -> None:
    if ground not in Ground.values:
        raise RecallRefused(_("Choose the ground."))
    if not note.strip():
        raise RecallRefused(
            _("Say in words what stands behind it: who said so and when, which letter, which recall.")
        )
