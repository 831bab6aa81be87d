"""Preview what a proposed rule set would do to everybody, before it is in force (docs/domain.md, point 7)."""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from clinic import policies
from clinic.models import Patient, Policy, PolicyKind
from scheduling.models import OPEN, Recall
from scheduling.planning import visits_wanted
from scheduling.planning.rules_in_force import rules_in_force, rules_of
from scheduling.rules.facts.facts import Facts
from scheduling.rules.plan import engine
from scheduling.rules.plan.plan import Due
from scheduling.rules.ruleset.ruleset import RuleSet

MONTHS_SHOWN = 12

Key = tuple[str, str]
Window = tuple[date, date, date]


@dataclass(frozen=True)
class DutyChange:
    """One duty under the recalls in force and under the proposed set; an empty window: not asked for."""

    patient: int
    purpose: str
    subject: str
    rule_before: str
    rule_after: str
    before: Window | None
    after: Window | None
    longer_by: int  # days by which this visit or one of the next two years comes later at most; 0 = none does
    falls_away: bool  # a visit of the next two years is not asked for any more

    @property
    def moved(self) -> bool:
        return self.before != self.after

    @property
    def days(self) -> int | None:
        """Say by how much the target moves; None where there was or will be none."""
        return (self.after[1] - self.before[1]).days if self.before and self.after else None

    @property
    def earlier(self) -> int:
        return max(0, -(self.days or 0))

    @property
    def lengthened(self) -> bool:
        return self.falls_away or self.longer_by > 0

    @property
    def group(self) -> str:
        """Name the group that is accepted together: the same purpose going from the same rule to the same rule."""
        return f"{self.purpose}:{self.rule_before}>{self.rule_after}"


@dataclass(frozen=True)
class NoAnswer:
    """A question that the proposed set would put to a person, and the present one does not."""

    patient: int
    code: str
    subject: str
    params: dict[str, Any]


@dataclass
class RulePreview:
    """What a proposed set would do: to whom, by how much, and to the visits of each month."""

    policy: Policy
    today: date
    replaced: Policy | None
    patients: dict[int, Patient] = field(default_factory=dict)  # those for whom something changes
    records: int = 0
    behind: int = 0  # records whose recalls do not yet follow their facts
    changes: list[DutyChange] = field(default_factory=list)
    no_answer: list[NoAnswer] = field(default_factory=list)
    load_before: Counter[date] = field(default_factory=Counter)
    load_after: Counter[date] = field(default_factory=Counter)

    @property
    def moved(self) -> list[DutyChange]:
        return [one for one in self.changes if one.moved]

    @property
    def overdue(self) -> list[DutyChange]:
        return [one for one in self.changes if _becomes_overdue(one, self.today)]

    @property
    def lengthened(self) -> dict[str, list[DutyChange]]:
        """Group the changes that come later, to be accepted one group at a time, each with its patients."""
        groups: dict[str, list[DutyChange]] = defaultdict(list)
        for one in self.changes:
            if one.lengthened:
                groups[one.group].append(one)
        return dict(sorted(groups.items()))

    @property
    def digest(self) -> str:
        """Give a digest of all that was shown (texts, day, facts, answers), so that accepting refers to just that."""
        shown = {
            "sets": [self.policy.sha256, self.replaced.sha256 if self.replaced else ""],
            "day": self.today,
            "facts": sorted((key, row.facts_revision) for key, row in self.patients.items()),
            "records": self.records,
            "answers": [*map(asdict, self.changes), *map(asdict, self.no_answer)],
        }
        return hashlib.sha256(json.dumps(shown, sort_keys=True, default=str).encode()).hexdigest()

    def add(self, patient: Patient, known: Facts, proposed: RuleSet, current: RuleSet | None) -> None:
        self.records += 1
        # Its recalls follow older facts: a date that moves may then move for another reason than the set.
        plan = getattr(patient, "plan", None)
        self.behind += plan is None or plan.facts_revision != patient.facts_revision
        until = self.today + visits_wanted.AHEAD
        new = engine.plan(known, proposed, self.today)
        new_all = visits_wanted.following(known, proposed, new.due, self.today, until)
        old = engine.plan(known, current, self.today) if current else None
        old_all = (
            visits_wanted.following(known, current, old.due, self.today, until) if current and old else []
        )
        changes = list(_changes(patient, old_all, new.due, new_all))
        # A question that the present set asks as well is no effect of the new one.
        answered = {(one.code, one.subject) for one in old.problems} if old else set()
        asked = [
            NoAnswer(patient.pk, one.code, one.subject, dict(one.params))
            for one in new.problems
            if (one.code, one.subject) not in answered
        ]
        self.load_before.update(_months(old_all, self.today))
        self.load_after.update(_months(new_all, self.today))
        self.changes += changes
        self.no_answer += asked
        if changes or asked:
            self.patients[patient.pk] = patient

    def months(self) -> list[date]:
        first = self.today.year * 12 + self.today.month - 1
        return [date(k // 12, k % 12 + 1, 1) for k in range(first, first + MONTHS_SHOWN)]


def make_preview(policy: Policy, today: date) -> RulePreview:
    """Plan the whole clinic under `policy` and lay it beside the recalls in force; nothing is written."""
    current = rules_in_force()
    replaced, old = current if current else (None, None)
    found, proposed = RulePreview(policy, today, replaced), rules_of(policy)
    for patient, known in visits_wanted.everybody():
        found.add(patient, known, proposed, old)
    return found


def basis(policy: Policy, today: date) -> str:
    """Give a digest of all that a preview rests on: two texts, the day, everybody's facts, and the open duties."""
    replaced = policies.in_force(PolicyKind.RULES)
    records = Patient.objects.filter(merged_into__isnull=True).order_by("pk")
    duties = Recall.objects.filter(state__in=OPEN).order_by("pk")
    rests_on = (
        [policy.sha256, replaced.sha256 if replaced else "", str(today)],
        list(records.values_list("pk", "facts_revision", "plan__facts_revision")),
        list(duties.values_list("pk", "rule", "number", "earliest", "target", "latest")),
    )
    return hashlib.sha256(json.dumps(rests_on, default=str).encode()).hexdigest()


def _changes(
    patient: Patient, old_all: list[Due | Recall], new_due: tuple[Due, ...], new_all: list[Due | Recall]
) -> Iterable[DutyChange]:
    before: dict[Key, Recall] = {(row.purpose, row.subject): row for row in patient.open_recalls}  # type: ignore[attr-defined]
    after = {(one.purpose, one.subject): one for one in new_due}
    for key in sorted({*before, *after}):
        row, due = before.get(key), after.get(key)
        # Beside the recalls that stand and not beside a plan made anew: those days the patient was promised.
        old = visits_wanted.deadlines(row, [one for one in old_all if (one.purpose, one.subject) == key])
        new = visits_wanted.deadlines(due, [one for one in new_all if (one.purpose, one.subject) == key])
        longer, falls_away = visits_wanted.longer(old, new) if row else (0, False)
        change = DutyChange(
            patient.pk, *key, row.rule if row else "", due.rule if due else "",
            _window(row), _window(due), longer, falls_away,
        )  # fmt: skip
        if change.moved or change.lengthened:
            yield change


def _window(row: Recall | Due | None) -> Window | None:
    return (row.earliest, row.target, row.latest) if row else None


def _becomes_overdue(one: DutyChange, today: date) -> bool:
    was = one.before is not None and one.before[2] < today
    return one.after is not None and one.after[2] < today and not was


def _months(wanted: list[Due | Recall], today: date) -> list[date]:
    return sorted(day.replace(day=1) for day in visits_wanted.visits(wanted, today))
