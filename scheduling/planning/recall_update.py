"""Make the open recalls of one patient fit a new plan: kept, moved, completed, dropped or opened, each audited."""

from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any

from clinic import clock
from clinic.duties import proposals
from clinic.models import Patient, change
from clinic.models import Policy as PolicyRow
from clinic.trail import audit
from scheduling.models import Recall, RecallState
from scheduling.planning import completions, ladder, rebook
from scheduling.rules.facts import facts
from scheduling.rules.plan import lateness
from scheduling.rules.plan.plan import Due
from scheduling.rules.plan.plan import Plan as CorePlan

Key = tuple[str, str]
Fields = dict[str, Any]
PLANNED = (
    "rule",
    "of",
    "anchor",
    "number",
    "earliest",
    "target",
    "latest",
    "urgency",
    "reasons",
    "policy_id",
)


@dataclass(frozen=True)
class Answered:
    """What the core was told about one patient, and what it answered."""

    patient: Patient
    known: facts.Facts
    answer: CorePlan

    @cached_property
    def result(self) -> Fields:
        return self.answer.to_json(words=False)

    def planned(self, policy: PolicyRow) -> dict[Key, tuple[Due, Fields]]:
        """What is due by purpose and subject, each with the fields of its recall."""
        rows = zip(self.answer.due, self.result["due"], strict=True)
        return {(due.purpose, due.subject): (due, _planned_fields(due, row, policy)) for due, row in rows}


@dataclass(frozen=True)
class Portion:
    """What is the same for all who are planned together, and the recalls that open for them."""

    policy: PolicyRow
    by_risk: frozenset[str]
    now: datetime = field(default_factory=clock.now)
    today: date = field(default_factory=clock.today)
    opened: list[tuple[Patient, Fields]] = field(default_factory=list)


def state_on(due: Due | Recall, today: date | None = None) -> RecallState:
    """Give the state of a recall on a day: due from its ladder's length before its earliest day."""
    opens = lateness.opens_on(due.earliest, ladder.standing_of(due.urgency).lead_days)
    return RecallState.DUE if opens <= (today or clock.today()) else RecallState.PLANNED


def _planned_fields(due: Due, row: Fields, policy: PolicyRow) -> Fields:
    return {
        "rule": due.rule,
        "of": due.of,
        "anchor": due.anchor,
        "number": due.number,
        "earliest": due.earliest,
        "target": due.target,
        "latest": due.latest,
        "urgency": due.urgency,
        "reasons": row["reasons"],
        "policy_id": policy.pk,
    }


def _same_occurrence(due: Due, row: Recall) -> bool:
    return (due.anchor, due.number, due.rule, due.of) == (row.anchor, row.number, row.rule, row.of)


class RecallUpdate:
    """Makes the open recalls of one patient fit one answer of the core."""

    def __init__(self, one: Answered, portion: Portion) -> None:
        self.patient, self.portion = one.patient, portion
        self.planned = one.planned(portion.policy)

    def stands(self, row: Fields) -> bool:
        """Say whether an open recall, by its values, is what is planned; it is settled then."""
        key = row["purpose"], row["subject"]
        if key not in self.planned:
            return False
        due, fields = self.planned[key]
        if row["state"] != state_on(due, self.portion.today) or any(
            row[name] != fields[name] for name in fields
        ):
            return False
        del self.planned[key]
        return True

    def bring_into_line(self, row: Recall) -> None:
        row.patient = self.patient
        due, fields = self.planned.pop((row.purpose, row.subject), (None, {}))
        if due and _same_occurrence(due, row):
            self.keep(row, due, fields)
        elif due and self.is_only_assessed_anew(row, due):
            return
        elif self.end(row, due, fields) and due:
            self.open(due, fields)

    def open_the_rest(self) -> None:
        for due, fields in self.planned.values():
            self.open(due, fields)

    def is_only_assessed_anew(self, row: Recall, due: Due) -> bool:
        """Say whether a tier was only assessed anew, with no check since: the open duty then keeps its earlier date.

        The core counts from the day since which a tier stands; this holds what was planned before it could.
        """
        same = (due.rule, due.number) == (row.rule, row.number) and row.policy_id == self.portion.policy.pk
        later = due.purpose == "full_skin_check" and due.latest > row.latest
        return (
            same and later and row.rule in self.portion.by_risk and completions.find_completion(row) is None
        )

    def end(self, row: Recall, due: Due | None, fields: Fields) -> bool:
        """Close a recall; False for a booked one, which stands until its appointment has an outcome."""
        done = completions.find_completion(row)
        if done:
            self.complete(row, done)
            return True
        # Somebody has been promised this day; only a person may tell the patient otherwise.
        if self.is_booked(row):
            if due:
                self.keep(row, due, fields)
            else:
                rebook.not_asked_for(row)
            return False
        supersede(row, **_replaced_by(due) if due else {})
        return True

    def keep(self, row: Recall, due: Due, fields: Fields) -> None:
        """Keep the same duty: its dates may move, and that is said; what it is booked for stays booked."""
        state = row.state if self.is_booked(row) else state_on(due, self.portion.today)
        before = {name: getattr(row, name) for name in fields}
        if before == fields and state == row.state:
            return
        moved = {
            name: [str(before[name]), str(fields[name])]
            for name in ("rule", "of", "anchor", "number", "earliest", "target", "latest", "urgency")
            if before[name] != fields[name]
        }
        change(row, seen=row.revision, at=clock.now(), state=state, **fields)
        if moved:
            audit.record("recall.move", by=None, subject=row, patient=self.patient, moved=moved)
        # An appointment in time yesterday may be late by the new window.
        if "latest" in moved and state == RecallState.BOOKED:
            rebook.look_at_bookings_of(row)

    def is_booked(self, row: Recall) -> bool:
        return row.state == RecallState.BOOKED and row.appointments.filter(state="booked").exists()

    def complete(self, row: Recall, done: completions.Completion) -> None:
        was_booked = row.state == RecallState.BOOKED
        ended: Fields = {
            "state": RecallState.COMPLETED,
            "ended_on": done.on,
            "ended_how": {"code": done.code},
        }
        what: Fields = {"completed_by": done.item, "evidence": done.evidence}
        change(row, seen=row.revision, at=clock.now(), **ended, **what)
        settle_proposals(row, "finished")
        audit.record(
            "recall.complete", by=None, subject=row, patient=self.patient, on=str(done.on), how=done.code
        )
        if was_booked:
            rebook.look_at_bookings_of(row)

    def open(self, due: Due, fields: Fields) -> None:
        row = fields | {
            "patient_id": self.patient.pk,
            "purpose": due.purpose,
            "subject": due.subject,
            "state": str(state_on(due, self.portion.today)),
            "opened_on": self.portion.today,
            "changed_at": self.portion.now,
        }
        self.portion.opened.append((self.patient, row))


def entry_of_opening(key: int, patient: Patient, row: Fields) -> audit.Entry:
    window = [str(row[name]) for name in ("earliest", "target", "latest")]
    details = {"rule": row["rule"], "number": row["number"], "window": window}
    return audit.Entry("recall.open", f"{Recall._meta.label_lower}:{key}", patient, details)


def _replaced_by(due: Due) -> Fields:
    return {"code": "replaced", "rule": due.rule, "number": due.number, "latest": str(due.latest)}


def supersede(row: Recall, **how: Any) -> None:
    """Close a recall that the plan no longer asks for; nobody closed it, so the core may ask for it again.

    `how`: one of `wording.ENDINGS` as `code`, and its parameters.
    """
    patient = row.patient
    if not how:
        ended = patient.status != "active"
        how = {"code": "care_ended", "status": patient.status} if ended else {"code": "not_asked_for"}
    fields: Fields = {
        "state": RecallState.CLOSED,
        "ground": "superseded",
        "ended_how": how,
        "ended_on": clock.today(),
    }
    change(row, seen=row.revision, at=clock.now(), **fields)
    settle_proposals(row, "not_asked_for")
    audit.record("recall.supersede", by=None, subject=row, patient=patient, how=how)


def settle_proposals(row: Recall, why: str) -> None:
    """Answer what was proposed about a recall that has ended; whoever proposed it reads why."""
    if row.proposed_ground:
        proposals.settle_all(proposals.about(row), why)
