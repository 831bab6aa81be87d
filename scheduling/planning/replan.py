"""Facts in, recalls out: asks the core and brings the open recalls of one patient into line with its answer."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Exists, F

from clinic import clock
from clinic.models import Patient, PolicyKind, PolicyState, StaleRow, change
from clinic.models import Policy as PolicyRow
from clinic.trail import audit
from lesions.models import Assessment, Review
from scheduling.models import OPEN, Plan, PlanProblem, Recall, RecallState
from scheduling.planning import completions, ladder
from scheduling.planning.gather import gather_facts_of_all
from scheduling.planning.rules_in_force import rules_in_force
from scheduling.rules.facts import facts
from scheduling.rules.plan import engine, lateness
from scheduling.rules.plan.plan import Due
from scheduling.rules.plan.plan import Plan as CorePlan
from scheduling.rules.ruleset.ruleset import RuleSet

TRIES = 3
PORTION = 100


class _FactsMoved(Exception):
    """Somebody recorded something, or brought other rules into force, while the plan was being made."""


Known = tuple[Patient, facts.Facts, PolicyRow, RuleSet]


class FactsReader:
    """Patients, facts and rules, read in portions for whoever plans many; what moves meanwhile is read again."""

    def __init__(self, keys: Sequence[int]) -> None:
        self.keys, self.place = keys, {key: number for number, key in enumerate(keys)}
        self.read: dict[int, Known] = {}

    def facts_of(self, patient_id: int) -> Known | None:
        if patient_id not in self.read:
            start = self.place[patient_id]
            self.read = _read(self.keys[start : start + PORTION])
        return self.read.pop(patient_id, None)


def _read(keys: Sequence[int]) -> dict[int, Known]:
    """The patients first: whoever changes a fact after this raises their revision, and the plan is refused."""
    rules = rules_in_force()
    if rules is None:
        return {}
    patients = list(Patient.objects.filter(pk__in=keys, merged_into__isnull=True))
    known = gather_facts_of_all(patients)
    return {patient.pk: (patient, known[patient.pk], *rules) for patient in patients}


def replan_patient(patient_id: int, reader: FactsReader | None = None) -> Plan | None:
    """Make the plan of a patient anew; None where there are no rules in force, no such record, or no quiet moment."""
    for number in range(TRIES):
        known = reader.facts_of(patient_id) if reader and number == 0 else _read([patient_id]).get(patient_id)
        if known is None:
            return None
        try:
            return _replan_once(*known)
        except (_FactsMoved, StaleRow):
            continue
    return None


def patients_to_replan(limit: int | None = 200) -> list[int]:
    """Keys of patients whose plan is missing or out of date in facts, rules or time; the longest waiting first."""
    policy = (
        PolicyRow.objects.filter(kind=PolicyKind.RULES, state=PolicyState.IN_FORCE).values_list("pk").first()
    )
    if policy is None:
        return []
    current = Patient.objects.filter(
        plan__facts_revision=F("facts_revision"),
        plan__policy_id=policy[0],
        plan__valid_until__gte=clock.today(),
    )
    behind = Patient.objects.filter(merged_into__isnull=True).exclude(pk__in=current.values("pk"))
    return list(behind.order_by("plan__made_at", "pk").values_list("pk", flat=True)[:limit])


def _replan_once(patient: Patient, known: facts.Facts, policy: PolicyRow, ruleset: RuleSet) -> Plan:
    answer = engine.plan(known, ruleset, clock.today())
    by_risk = frozenset(rule.id for rule in ruleset.rules if rule.anchor == "risk")
    with transaction.atomic():
        _lock(patient, policy)
        _RecallUpdate(patient, policy, answer, by_risk).bring_into_line()
        _bring_problems_into_line(patient, answer)
        return _keep_plan(patient, policy, known, answer)


def _lock(patient: Patient, policy: PolicyRow) -> None:
    """The plan holds only for the facts and rules that were read; whoever records facts updates this row first."""
    in_force = PolicyRow.objects.filter(pk=policy.pk, state=PolicyState.IN_FORCE)
    rows = Patient.objects.select_for_update().filter(pk=patient.pk, facts_revision=patient.facts_revision)
    same = rows.filter(Exists(in_force))
    if not same.values_list("pk").first():
        raise _FactsMoved


def _keep_plan(patient: Patient, policy: PolicyRow, known: facts.Facts, answer: CorePlan) -> Plan:
    fields: dict[str, Any] = {
        "facts_revision": patient.facts_revision,
        "policy": policy,
        "valid_until": answer.valid_until,
        "facts": facts.to_json(known),
        "result": answer.to_json(),
    }
    before = Plan.objects.filter(patient=patient).first()
    if before and _same_answer(before, fields):
        Plan.objects.filter(pk=before.pk).update(valid_until=answer.valid_until, made_at=clock.now())
        before.refresh_from_db()
        return before
    # The patient's row is locked: nobody else can make this plan in between.
    plan = before or Plan(patient=patient)
    for name, value in (fields | {"made_at": clock.now()}).items():
        setattr(plan, name, value)
    plan.save()
    made_from = {"facts": patient.facts_revision, "rules": policy.version}
    counts = {"due": len(answer.due), "problems": len(answer.problems)}
    audit.record("plan.make", by=None, subject=plan, patient=patient, **made_from, **counts)
    return plan


def _same_answer(before: Plan, fields: dict[str, Any]) -> bool:
    if (before.facts_revision, before.policy_id) != (fields["facts_revision"], fields["policy"].pk):
        return False
    keys = ("due", "problems", "ruleset")
    return all(before.result[key] == fields["result"][key] for key in keys)


def _bring_problems_into_line(patient: Patient, answer: CorePlan) -> None:
    """A problem that is gone keeps its row with the day it went."""
    texts: dict[tuple[str, str], str] = {}
    asks = any(one.code == "what_follows" and one.subject.startswith("lesion:") for one in answer.problems)
    before_a_dermatologist = _lesions_before_a_dermatologist(patient) if asks else set()
    for problem in answer.problems:
        if problem.code == "what_follows" and problem.subject in before_a_dermatologist:
            continue
        key = (problem.code, problem.subject)
        texts[key] = f"{texts[key]} {problem.text}" if key in texts else problem.text
    for row in PlanProblem.objects.filter(patient=patient, gone_on__isnull=True):
        text = texts.pop((row.code, row.subject), None)
        if text is None:
            PlanProblem.objects.filter(pk=row.pk).update(gone_on=clock.today())
        elif text != row.text:
            PlanProblem.objects.filter(pk=row.pk).update(text=text)
    PlanProblem.objects.bulk_create(
        PlanProblem(patient=patient, code=code, subject=subject, text=text, since=clock.today())
        for (code, subject), text in texts.items()
    )


def _lesions_before_a_dermatologist(patient: Patient) -> set[str]:
    """What follows the last picture is already asked: it is being measured, or waits for a decision.

    Signing changes facts, so the question comes back with the next plan if the decision did not answer it.
    """
    waiting = Review.objects.filter(lesion__patient=patient, state="waiting").values_list("lesion", flat=True)
    measured = Assessment.objects.filter(image__lesion__patient=patient, state__in=("queued", "running"))
    return {f"lesion:{key}" for key in {*waiting, *measured.values_list("image__lesion", flat=True)}}


def state_on(earliest: date, urgency: str) -> RecallState:
    """Due from its ladder's length before its earliest day."""
    opens = lateness.opens_on(earliest, ladder.ladder_of(urgency).lead_days)
    return RecallState.DUE if opens <= clock.today() else RecallState.PLANNED


def planned_fields(due: Due, policy: PolicyRow) -> dict[str, Any]:
    reasons = [{key: str(value) for key, value in asdict(reason).items()} for reason in due.reasons]
    return {
        "rule": due.rule,
        "anchor": due.anchor,
        "number": due.number,
        "earliest": due.earliest,
        "target": due.target,
        "latest": due.latest,
        "urgency": due.urgency,
        "reasons": reasons,
        "policy_id": policy.pk,
    }


class _RecallUpdate:
    """The open recalls of one patient against one answer of the core."""

    def __init__(
        self, patient: Patient, policy: PolicyRow, answer: CorePlan, by_risk: frozenset[str]
    ) -> None:
        self.patient, self.policy, self.by_risk = patient, policy, by_risk
        self.planned = {(due.purpose, due.subject): due for due in answer.due}

    def bring_into_line(self) -> None:
        rows = self.patient.recalls.filter(state__in=OPEN).order_by("pk")
        for row in rows:
            due = self.planned.pop((row.purpose, row.subject), None)
            if due and (due.anchor, due.number, due.rule) == (row.anchor, row.number, row.rule):
                self.keep(row, due)
            elif due and self.is_only_assessed_anew(row, due):
                continue
            elif self.end(row, due) and due:
                self.open(due)
        for due in self.planned.values():
            self.open(due)

    def is_only_assessed_anew(self, row: Recall, due: Due) -> bool:
        """The same tier counted from a later day, and no check since: the open duty keeps its earlier date.

        The core counts from the day since which a tier stands; this holds what was planned before it could.
        """
        same = (due.rule, due.number) == (row.rule, row.number) and row.policy_id == self.policy.pk
        later = due.purpose == "full_skin_check" and due.latest > row.latest
        return same and later and row.rule in self.by_risk and completions.find_completion(row) is None

    def end(self, row: Recall, due: Due | None) -> bool:
        """True if the row is closed now; a booked one stands until its appointment has an outcome."""
        done = completions.find_completion(row)
        if done:
            self.complete(row, done)
            return True
        if self.is_booked(row):
            if due:
                self.keep(row, due)
            return False
        supersede(
            row, f"the plan now asks for {due.rule}, number {due.number}, by {due.latest}" if due else ""
        )
        return True

    def keep(self, row: Recall, due: Due) -> None:
        """The same duty: its dates may move, and that is said; what it is booked for stays booked."""
        fields = planned_fields(due, self.policy)
        state = row.state if self.is_booked(row) else state_on(due.earliest, due.urgency)
        before = {name: getattr(row, name) for name in fields}
        if before == fields and state == row.state:
            return
        moved = {
            name: [str(before[name]), str(fields[name])]
            for name in ("rule", "anchor", "number", "earliest", "target", "latest", "urgency")
            if before[name] != fields[name]
        }
        change(row, seen=row.revision, at=clock.now(), state=state, **fields)
        if moved:
            audit.record("recall.move", by=None, subject=row, patient=self.patient, moved=moved)

    def is_booked(self, row: Recall) -> bool:
        return row.state == RecallState.BOOKED and row.appointments.filter(state="booked").exists()

    def complete(self, row: Recall, done: completions.Completion) -> None:
        ended = {"state": RecallState.COMPLETED, "ended_on": done.on, "ground_note": done.words}
        what = {"completed_by": done.item, "evidence": done.evidence}
        change(row, seen=row.revision, at=clock.now(), **ended, **what)
        audit.record(
            "recall.complete", by=None, subject=row, patient=self.patient, on=str(done.on), how=done.words
        )

    def open(self, due: Due) -> None:
        row = Recall.objects.create(
            patient=self.patient,
            purpose=due.purpose,
            subject=due.subject,
            state=state_on(due.earliest, due.urgency),
            opened_on=clock.today(),
            changed_at=clock.now(),
            **planned_fields(due, self.policy),
        )
        window = [str(due.earliest), str(due.target), str(due.latest)]
        details = {"rule": due.rule, "number": due.number, "window": window}
        audit.record("recall.open", by=None, subject=row, patient=self.patient, **details)


def supersede(row: Recall, note: str = "") -> None:
    """The plan itself no longer asks for it: closed by nobody, so the core may ask for it again."""
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
    audit.record("recall.supersede", by=None, subject=row, patient=patient, note=note)


def still_asked_for(row: Recall) -> bool:
    """Whether the last plan asks for this purpose and subject; yes while there is no plan."""
    plan = Plan.objects.filter(patient_id=row.patient_id).first()
    return plan is None or any(
        (due["purpose"], due["subject"]) == (row.purpose, row.subject) for due in plan.result["due"]
    )


def open_again(row: Recall) -> dict[str, Any]:
    """Fields of a recall whose appointment came to nothing: the dates stay what they were."""
    return {"state": state_on(row.earliest, row.urgency), "reopened": row.reopened + 1}
