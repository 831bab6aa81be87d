"""Write what the core answered, for many patients in one transaction: plans, problems, and open recalls made to fit.

Rows are locked in the order of their keys and written in bulk: a hundred patients cost few queries more than one.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Exists, F

from clinic.models import Patient, PolicyState, insert_all
from clinic.models import Policy as PolicyRow
from clinic.trail import audit
from lesions.models import Assessment, Review
from scheduling.models import OPEN, Plan, PlanProblem, Recall
from scheduling.planning.recall_update import PLANNED, Answered, Portion, RecallUpdate, entry_of_opening
from scheduling.rules.facts import facts
from scheduling.rules.plan.plan import Problem

_STANDING = ("pk", "patient_id", "purpose", "subject", "state", *PLANNED)
_PLAN_FIELDS = ["facts_revision", "policy", "valid_until", "made_at", "facts", "result"]


class PlanWriter:
    """Writes the answers of one portion; call `write` inside a transaction.

    Whoever records a fact updates the patient's row first, so a patient whose revision moved is left out.
    """

    def __init__(self, answers: Sequence[Answered], policy: PolicyRow, by_risk: frozenset[str]) -> None:
        self.answers, self.policy, self.portion = answers, policy, Portion(policy, by_risk)
        self.new_problems: list[dict[str, Any]] = []
        self.plans: list[tuple[Plan, Answered]] = []
        self.waiting: frozenset[str] = frozenset()

    def write(self) -> dict[int, Plan]:
        """Write the plans of those patients whose facts and rules are still the ones that were read; returns them."""
        # Only now are the patients locked: the seconds of reading and planning before held nobody up.
        unmoved = self.lock()
        answers = [one for one in self.answers if one.patient.pk in unmoved]
        problems = _open_problems(answers)
        self.waiting = _lesions_before_a_dermatologist(answers)
        before = _plans_of_the_same_facts(answers, self.policy)
        self.bring_recalls_into_line(answers)
        for one in answers:
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
            made_at=self.portion.now,
            facts=facts.to_json(one.known),
            result=one.result,
        )
        if before and _says_the_same(before, plan):
            # No new row and no audit record: a daily replan of everybody would fill the trail with nothing.
            valid = {"valid_until": plan.valid_until, "made_at": plan.made_at}
            Plan.objects.filter(pk=before.pk).update(**valid)
            before.valid_until, before.made_at = plan.valid_until, plan.made_at
            return before
        self.plans.append((plan, one))
        return plan

    def bring_recalls_into_line(self, answers: Sequence[Answered]) -> None:
        """Nearly all stand as they are planned: they are locked and compared, and only the others read whole."""
        updates = {one.patient.pk: RecallUpdate(one, self.portion) for one in answers}
        rows = Recall.objects.filter(patient__in=updates, state__in=OPEN).select_for_update().order_by("pk")
        others = [row["pk"] for row in rows.values(*_STANDING) if not updates[row["patient_id"]].stands(row)]
        if others:
            for recall in Recall.objects.filter(pk__in=others).order_by("pk"):
                updates[recall.patient_id].bring_into_line(recall)
        for update in updates.values():
            update.open_the_rest()

    def bring_problems_into_line(self, one: Answered, rows: Iterable[PlanProblem]) -> None:
        """Make the rows of problems fit the answer; one that is gone keeps its row with the day it went."""
        asked = _problems(one.answer.problems, self.waiting)
        for row in rows:
            found = asked.pop((row.code, row.subject), None)
            if found is None:
                # The row stays, and with it since when the problem has stood.
                PlanProblem.objects.filter(pk=row.pk).update(gone_on=self.portion.today)
            elif found != {"params": row.params, "also": row.also}:
                PlanProblem.objects.filter(pk=row.pk).update(**found)
        since = {"patient_id": one.patient.pk, "since": self.portion.today}
        self.new_problems += [
            {"code": code, "subject": subject, **found, **since} for (code, subject), found in asked.items()
        ]

    def flush(self) -> None:
        keys = insert_all(Recall, [row for _, row in self.portion.opened])
        insert_all(PlanProblem, self.new_problems)
        # Two workers may plan one patient for the first time at once; the later plan replaces the earlier.
        Plan.objects.bulk_create(
            [plan for plan, _ in self.plans],
            update_conflicts=True,
            unique_fields=["patient"],
            update_fields=_PLAN_FIELDS,
        )
        opened = (entry_of_opening(key, *made) for key, made in zip(keys, self.portion.opened, strict=True))
        audit.record_all([*opened, *(self.made(*made) for made in self.plans)])

    def made(self, plan: Plan, one: Answered) -> audit.Entry:
        counts = {"due": len(one.answer.due), "problems": len(one.answer.problems)}
        details = {"facts": plan.facts_revision, "rules": self.policy.version, **counts}
        return audit.Entry("plan.make", plan, one.patient, details)


def _keys(answers: Iterable[Answered]) -> list[int]:
    return [one.patient.pk for one in answers]


def _open_problems(answers: Sequence[Answered]) -> dict[int, list[PlanProblem]]:
    found: dict[int, list[PlanProblem]] = defaultdict(list)
    for row in PlanProblem.objects.filter(patient__in=_keys(answers), gone_on__isnull=True).order_by("pk"):
        found[row.patient_id].append(row)
    return found


def _plans_of_the_same_facts(answers: Sequence[Answered], policy: PolicyRow) -> dict[int, Plan]:
    """Only they can say the same as the new one; what they were made from is not read."""
    rows = Plan.objects.filter(patient__in=_keys(answers), policy=policy).defer("facts")
    return {row.patient_id: row for row in rows.filter(facts_revision=F("patient__facts_revision"))}


def _says_the_same(before: Plan, now: Plan) -> bool:
    return all(before.result[key] == now.result[key] for key in ("due", "problems", "ruleset"))


def _problems(problems: Iterable[Problem], waiting: frozenset[str]) -> dict[tuple[str, str], dict[str, Any]]:
    """List problems by code and subject; what waits for a dermatologist's decision is not asked twice."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for problem in problems:
        if _is_for_a_decision(problem) and problem.subject in waiting:
            continue
        before = found.get((problem.code, problem.subject))
        also = [*before["also"], before["params"]] if before else []
        found[problem.code, problem.subject] = {"params": dict(problem.params), "also": also}
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
