"""Write what the core answered, for many patients in one transaction: plans, problems, and open recalls made to fit.

Rows are locked in the order of their keys and written in bulk: a hundred patients cost few queries more than one.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists

from clinic import clock
from clinic.duties import proposals
from clinic.models import Patient, PolicyState, change
from clinic.models import Policy as PolicyRow
from clinic.trail import audit
from lesions.models import Assessment, Review
from scheduling.models import OPEN, Plan, PlanProblem, Recall, RecallState
from scheduling.planning import completions, ladder, rebook
from scheduling.rules.facts import facts
from scheduling.rules.plan import lateness
from scheduling.rules.plan.plan import Due, Problem
from scheduling.rules.plan.plan import Plan as CorePlan

_PLAN_FIELDS = ["facts_revision", "policy", "valid_until", "made_at", "facts", "result"]


@dataclass(frozen=True)
class Answered:
    """What the core was told about one patient, and what it answered."""

    patient: Patient
    known: facts.Facts
    answer: CorePlan


class PlanWriter:
    """Writes the answers of one portion; call `write` inside a transaction.

    Whoever records a fact updates the patient's row first, so a patient whose revision moved is left out.
    """

    def __init__(self, answers: Sequence[Answered], policy: PolicyRow, by_risk: frozenset[str]) -> None:
        self.answers, self.policy, self.by_risk = answers, policy, by_risk
        self.new_recalls: list[Recall] = []
        self.new_problems: list[PlanProblem] = []
        self.plans: list[tuple[Plan, Answered]] = []
        self.waiting: frozenset[str] = frozenset()

    def write(self) -> dict[int, Plan]:
        """Write the plans of those patients whose facts and rules are still the ones that were read; returns them."""
        unmoved = self.lock()
        answers = [one for one in self.answers if one.patient.pk in unmoved]
        recalls, problems = _open_recalls(answers), _open_problems(answers)
        self.waiting = _lesions_before_a_dermatologist(answers)
        before = {row.patient_id: row for row in Plan.objects.filter(patient__in=_keys(answers))}
        for one in answers:
            _RecallUpdate(one, recalls[one.patient.pk], self).bring_into_line()
            self.bring_problems_into_line(one, problems[one.patient.pk])
        kept = {one.patient.pk: self.keep_plan(one, before.get(one.patient.pk)) for one in answers}
        self.flush()
        return kept

    def lock(self) -> set[int]:
        revisions = {one.patient.pk: one.patient.facts_revision for one in self.answers}
        # Approving another set between reading and writing would otherwise leave plans of the old one.
        in_force = PolicyRow.objects.filter(pk=self.policy.pk, state=PolicyState.IN_FORCE)
        rows = Patient.objects.select_for_update().filter(pk__in=revisions).filter(Exists(in_force))
        now = rows.order_by("pk").values_list("pk", "facts_revision")
        return {key for key, revision in now if revisions[key] == revision}

    def keep_plan(self, one: Answered, before: Plan | None) -> Plan:
        """Keep the new plan; one that says the same as before keeps its row and is only valid for longer."""
        plan = Plan(
            patient=one.patient,
            facts_revision=one.patient.facts_revision,
            policy=self.policy,
            valid_until=one.answer.valid_until,
            made_at=clock.now(),
            facts=facts.to_json(one.known),
            result=one.answer.to_json(),
        )
        if before and _says_the_same(before, plan):
            valid = {"valid_until": plan.valid_until, "made_at": plan.made_at}
            # No new row and no audit record: a daily replan of everybody would fill the trail with nothing.
            Plan.objects.filter(pk=before.pk).update(**valid)
            before.valid_until, before.made_at = plan.valid_until, plan.made_at
            return before
        self.plans.append((plan, one))
        return plan

    def bring_problems_into_line(self, one: Answered, rows: Iterable[PlanProblem]) -> None:
        """Make the rows of problems fit the answer; one that is gone keeps its row with the day it went."""
        asked = _problems(one.answer.problems, self.waiting)
        for row in rows:
            found = asked.pop((row.code, row.subject), None)
            if found is None:
                PlanProblem.objects.filter(pk=row.pk).update(gone_on=clock.today())
            # The row stays, and with it since when the problem has stood.
            elif found != {"text": row.text, "params": row.params}:
                PlanProblem.objects.filter(pk=row.pk).update(**found)
        since = {"patient": one.patient, "since": clock.today()}
        self.new_problems += [
            PlanProblem(code=code, subject=subject, **found, **since)
            for (code, subject), found in asked.items()
        ]

    def flush(self) -> None:
        Recall.objects.bulk_create(self.new_recalls)
        PlanProblem.objects.bulk_create(self.new_problems)
        Plan.objects.bulk_create(
            [plan for plan, _ in self.plans],
            # Two workers may plan one patient for the first time at once; the later plan replaces the earlier.
            update_conflicts=True,
            unique_fields=["patient"],
            update_fields=_PLAN_FIELDS,
        )
        audit.record_all([*map(_opened, self.new_recalls), *(self.made(*made) for made in self.plans)])

    def made(self, plan: Plan, one: Answered) -> audit.Entry:
        counts = {"due": len(one.answer.due), "problems": len(one.answer.problems)}
        details = {"facts": plan.facts_revision, "rules": self.policy.version, **counts}
        return audit.Entry("plan.make", plan, one.patient, details)


def _keys(answers: Iterable[Answered]) -> list[int]:
    return [one.patient.pk for one in answers]


def _open_recalls(answers: Sequence[Answered]) -> dict[int, list[Recall]]:
    found: dict[int, list[Recall]] = defaultdict(list)
    rows = Recall.objects.select_for_update().filter(patient__in=_keys(answers), state__in=OPEN)
    patients = {one.patient.pk: one.patient for one in answers}
    for row in rows.order_by("pk"):
        row.patient = patients[row.patient_id]
        found[row.patient_id].append(row)
    return found


def _open_problems(answers: Sequence[Answered]) -> dict[int, list[PlanProblem]]:
    found: dict[int, list[PlanProblem]] = defaultdict(list)
    for row in PlanProblem.objects.filter(patient__in=_keys(answers), gone_on__isnull=True).order_by("pk"):
        found[row.patient_id].append(row)
    return found


def _says_the_same(before: Plan, now: Plan) -> bool:
    if (before.facts_revision, before.policy_id) != (now.facts_revision, now.policy_id):
        return False
    return all(before.result[key] == now.result[key] for key in ("due", "problems", "ruleset"))


def _problems(problems: Iterable[Problem], waiting: frozenset[str]) -> dict[tuple[str, str], dict[str, Any]]:
    """List problems by code and subject; what waits for a dermatologist's decision is not asked twice."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for problem in problems:
        if _is_for_a_decision(problem) and problem.subject in waiting:
            continue
        before = found.get((problem.code, problem.subject))
        text = f"{before['text']} {problem.text}" if before else problem.text
        found[problem.code, problem.subject] = {"text": text, "params": dict(problem.params)}
    return found


def _is_for_a_decision(problem: Problem) -> bool:
    """Say whether a signature answers the problem: what follows a lesion's last picture, or whether it is watched."""
    return problem.code in ("what_follows", "watched_without_plan") and problem.subject.startswith("lesion:")


def _lesions_before_a_dermatologist(answers: Iterable[Answered]) -> frozenset[str]:
    """Find lesions whose last picture is being measured or waits for a decision: what follows is asked there.

    Signing changes facts, so the question comes back with the next plan if the decision did not answer it.
    """
    asked = (
        problem.subject for one in answers for problem in filter(_is_for_a_decision, one.answer.problems)
    )
    keys = {int(subject.partition(":")[2]) for subject in asked}
    if not keys:
        return frozenset()
    waiting = Review.objects.filter(lesion__in=keys, state="waiting").values_list("lesion", flat=True)
    measured = Assessment.objects.filter(image__lesion__in=keys, state__in=("queued", "running"))
    found = {*waiting, *measured.values_list("image__lesion", flat=True)}
    return frozenset(f"lesion:{key}" for key in found)


def state_on(due: Due | Recall) -> RecallState:
    """Give the state of a recall on a day: due from its ladder's length before its earliest day."""
    opens = lateness.opens_on(due.earliest, ladder.ladder_of(due.urgency).lead_days)
    return RecallState.DUE if opens <= clock.today() else RecallState.PLANNED


def planned_fields(due: Due, policy: PolicyRow) -> dict[str, Any]:
    return {
        "rule": due.rule,
        "of": due.of,
        "anchor": due.anchor,
        "number": due.number,
        "earliest": due.earliest,
        "target": due.target,
        "latest": due.latest,
        "urgency": due.urgency,
        "reasons": [reason.to_json() for reason in due.reasons],
        "policy_id": policy.pk,
    }


def _same_occurrence(due: Due, row: Recall) -> bool:
    return (due.anchor, due.number, due.rule, due.of) == (row.anchor, row.number, row.rule, row.of)


class _RecallUpdate:
    """Makes the open recalls of one patient fit one answer of the core."""

    def __init__(self, one: Answered, rows: list[Recall], writer: PlanWriter) -> None:
        self.patient, self.rows, self.writer = one.patient, rows, writer
        self.policy, self.by_risk = writer.policy, writer.by_risk
        self.planned = {(due.purpose, due.subject): due for due in one.answer.due}

    def bring_into_line(self) -> None:
        for row in self.rows:
            due = self.planned.pop((row.purpose, row.subject), None)
            if due and _same_occurrence(due, row):
                self.keep(row, due)
            elif due and self.is_only_assessed_anew(row, due):
                continue
            elif self.end(row, due) and due:
                self.open(due)
        for due in self.planned.values():
            self.open(due)

    def is_only_assessed_anew(self, row: Recall, due: Due) -> bool:
        """Say whether a tier was only assessed anew, with no check since: the open duty then keeps its earlier date.

        The core counts from the day since which a tier stands; this holds what was planned before it could.
        """
        same = (due.rule, due.number) == (row.rule, row.number) and row.policy_id == self.policy.pk
        later = due.purpose == "full_skin_check" and due.latest > row.latest
        return same and later and row.rule in self.by_risk and completions.find_completion(row) is None

    def end(self, row: Recall, due: Due | None) -> bool:
        """Close a recall; False for a booked one, which stands until its appointment has an outcome."""
        done = completions.find_completion(row)
        if done:
            self.complete(row, done)
            return True
        if self.is_booked(row):
            if due:
                self.keep(row, due)
            else:
                rebook.not_asked_for(row)
            return False
        supersede(
            row, f"the plan now asks for {due.rule}, number {due.number}, by {due.latest}" if due else ""
        )
        return True

    def keep(self, row: Recall, due: Due) -> None:
        """Keep the same duty: its dates may move, and that is said; what it is booked for stays booked."""
        fields = planned_fields(due, self.policy)
        state = row.state if self.is_booked(row) else state_on(due)
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
        ended = {"state": RecallState.COMPLETED, "ended_on": done.on, "ground_note": done.words}
        what = {"completed_by": done.item, "evidence": done.evidence}
        change(row, seen=row.revision, at=clock.now(), **ended, **what)
        settle_proposals(row, f"finished meanwhile: {done.words}")
        audit.record(
            "recall.complete", by=None, subject=row, patient=self.patient, on=str(done.on), how=done.words
        )
        if was_booked:
            rebook.look_at_bookings_of(row)

    def open(self, due: Due) -> None:
        self.writer.new_recalls.append(
            Recall(
                patient=self.patient,
                purpose=due.purpose,
                subject=due.subject,
                state=state_on(due),
                opened_on=clock.today(),
                changed_at=clock.now(),
                **planned_fields(due, self.policy),
            )
        )


def _opened(row: Recall) -> audit.Entry:
    window = [str(row.earliest), str(row.target), str(row.latest)]
    return audit.Entry(
        "recall.open", row, row.patient, {"rule": row.rule, "number": row.number, "window": window}
    )


def supersede(row: Recall, note: str = "") -> None:
    """Close a recall that the plan no longer asks for; nobody closed it, so the core may ask for it again."""
    patient = row.patient
    if not note:
        ended = patient.status != "active"
        note = (
            f"care has ended: {patient.get_status_display()}" if ended else "the plan no longer asks for it"
        )
    fields = {
        "state": RecallState.CLOSED,
        "ground": "superseded",
        "ground_note": note,
        "ended_on": clock.today(),
    }
    change(row, seen=row.revision, at=clock.now(), **fields)
    settle_proposals(row, f"not asked for any more: {note}")
    audit.record("recall.supersede", by=None, subject=row, patient=patient, note=note)


def settle_proposals(row: Recall, answer: str) -> None:
    """Answer what was proposed about a recall that has ended; whoever proposed it reads why."""
    if row.proposed_ground:
        proposals.settle_all(proposals.about(row), answer=answer)
