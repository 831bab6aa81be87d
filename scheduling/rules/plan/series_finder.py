"""From facts to series: every rule on every fact it applies to, and the problems on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date

from scheduling.rules import dates
from scheduling.rules.facts.facts import DecisionFact, Diagnosis, Facts, LesionFacts, Procedure, UrgentSign
from scheduling.rules.plan.matching import MALIGNANT, Applies, Values, applying, diagnosis_values, staged
from scheduling.rules.plan.plan import Problem
from scheduling.rules.plan.series import Series
from scheduling.rules.ruleset.ruleset import Phase, Rule, RuleSet

SUTURES = "suture_removal"
BLOCKS_MONITORING = frozenset({"raised", "firm", "growing", "bleeding"})
_UNDONE = {"biopsy": "biopsy_decided", "excise": "biopsy_decided", "refer": "watched"}


@dataclass
class Survey:
    """What a rule set says about a patient before anything that was done is counted."""

    series: list[Series] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    # No rule plans a skin check: settled while a clinician's override does.
    without_check: list[Problem] = field(default_factory=list)

    def problem(self, code: str, subject: str, text: str) -> None:
        self.problems.append(Problem(code, subject, text))


class Surveyor:
    """Walks the facts in their own order of ids, so that the order of the lists does not matter."""

    def __init__(self, facts: Facts, ruleset: RuleSet) -> None:
        self.facts, self.found = facts, Survey()
        self.rules: dict[str, tuple[Rule, ...]] = {}
        for rule in ruleset.rules:
            self.rules[rule.anchor] = (*self.rules.get(rule.anchor, ()), rule)

    def survey(self) -> Survey:
        for diagnosis in sorted(self.facts.diagnoses, key=lambda item: item.id):
            self.diagnosis(diagnosis)
        self.risk()
        for lesion in sorted(self.facts.lesions, key=lambda item: item.id):
            self.lesion(lesion)
        for procedure in sorted(self.facts.procedures, key=lambda item: item.id):
            self.procedure(procedure)
        return self.found

    def diagnosis(self, diagnosis: Diagnosis) -> None:
        subject = f"diagnosis:{diagnosis.id}"
        stages, problems = staged(diagnosis)
        self.found.problems += problems
        about = diagnosis.code.replace("_", " ") + (f" of {diagnosis.anchor}" if diagnosis.anchor else "")
        matched = self.add(
            "diagnosis", diagnosis_values(diagnosis, stages), diagnosis.anchor, "patient", subject, about
        )
        if diagnosis.code in MALIGNANT and not _plans_check(matched):
            classed = diagnosis.risk_class
            detail = f" with risk class {classed.scheme} {classed.class_}" if classed else ""
            self.no_check(subject, f"No rule of the set applies to this {about}{detail}.")
        elif not problems and any(answer is Applies.MAYBE for _, answer in matched):
            text = f"Which rule applies to this {about} is not certain: a fact is missing."
            self.found.problem("missing_fact", subject, text)

    def procedure(self, procedure: Procedure) -> None:
        """Each procedure has its own duties, so that two on one day do not answer for each other."""
        values: Values = {"kind": frozenset({procedure.kind}), "site": _one(procedure.site)}
        about, subject = f"{procedure.kind} of {procedure.on}", procedure.subject
        not_for = frozenset() if procedure.leaves_sutures else frozenset({SUTURES})
        matched = self.add("procedure", values, procedure.on, subject, subject, about, not_for=not_for)
        if procedure.leaves_sutures and not _any_for(SUTURES, matched):
            self.sutures(procedure, about)
        if procedure.sutures is False and self.is_instructed(procedure):
            text = f"A day is set for the sutures of the {about}, and none were left: end the one or correct the other."
            self.found.problem("override_contradiction", subject, text)

    def is_instructed(self, procedure: Procedure) -> bool:
        key = SUTURES, procedure.subject
        return any((item.purpose, item.subject) == key for item in self.facts.overrides)

    def sutures(self, procedure: Procedure, about: str) -> None:
        """A set that plans the removal of sutures by site is asked about a site that it does not list."""
        if not any(rule.purpose == SUTURES for rule in self.rules.get("procedure", ())):
            return
        since, key = self.facts.patient.records_since, (SUTURES, procedure.subject)
        if since is not None and procedure.on < since:
            return
        done = (item for item in self.facts.done if item.on >= procedure.on)
        removed = any((item.purpose, item.subject) == key for item in done)
        if not removed and not self.is_instructed(procedure):
            text = f"No rule of the set says when the sutures of the {about} come out at its site."
            self.found.problem("no_rule", procedure.subject, text)

    def no_check(self, subject: str, text: str) -> None:
        self.found.without_check.append(Problem("no_rule", subject, text))

    def risk(self) -> None:
        risk = self.facts.patient.risk
        if risk is not None:
            values: Values = {"tier": frozenset({risk.tier})}
            about = f"risk tier {risk.tier.replace('_', ' ')} of {risk.assessed_on}"
            matched = self.add("risk", values, risk.assessed_on, "patient", "patient", about)
            if not _plans_check(matched):
                self.no_check("patient", f"No rule of the set applies to {about}.")
            return
        since = self.facts.patient.records_since or first_day(self.facts)
        renewals = [r for r in self.rules.get("risk", ()) if r.purpose == "risk_assessment" and r.phases]
        missing = "no risk assessment on record"
        if since is None or not renewals:
            why = "no day to count from" if since is None else "no rule that asks for one"
            self.found.problem("risk_assessment_missing", "patient", f"There is {missing}, and {why}.")
            return
        for rule in renewals:
            first = replace(rule, spacing="anchored")
            at_once = (_first_assessment(rule.phases[0]),)
            self.found.series.append(Series(first, since, "patient", "patient", missing, at_once))

    def lesion(self, lesion: LesionFacts) -> None:
        self.to_be_done(lesion)
        signs = {sign.sign for sign in unexamined(self.facts, lesion)}
        if lesion.state != "watched" or signs & BLOCKS_MONITORING:
            return
        subject = f"lesion:{lesion.id}"
        if lesion.monitoring is not None:
            values: Values = {"monitoring": frozenset({lesion.monitoring}), "site": _one(lesion.site)}
            since = f" since {lesion.since}" if lesion.since else ""
            about = f"{lesion.monitoring}-term monitoring{since}"
            if not self.add("lesion", values, lesion.since, subject, subject, about):
                self.found.problem("no_rule", subject, f"No rule of the set applies to {about}.")
        decision = latest_decision(self.facts, lesion.id)
        if decision is not None and decision.decision == "look_again":
            self.decision(decision, lesion, subject)

    def to_be_done(self, lesion: LesionFacts) -> None:
        """A biopsy, excision or referral that was decided is a duty until the lesion's state says it is done."""
        decision = latest_decision(self.facts, lesion.id)
        if decision is None or _UNDONE.get(decision.decision) != lesion.state:
            return
        values: Values = {"decision": frozenset({decision.decision}), "site": _one(lesion.site)}
        subject = f"lesion:{lesion.id}"
        self.add(
            "decision", values, decision.on, subject, subject, f"{decision.decision} decided {decision.on}"
        )

    def decision(self, decision: DecisionFact, lesion: LesionFacts, subject: str) -> None:
        about = f"decision of {decision.on} to look again"
        if decision.months is None:
            self.found.problem("no_interval", subject, f"The {about} says no number of months.")
            return
        values: Values = {"decision": frozenset({decision.decision}), "site": _one(lesion.site)}
        about += f" in {_months(decision.months)}"
        if not self.add("decision", values, decision.on, subject, subject, about, decision.months):
            self.found.problem("no_rule", subject, f"No rule of the set applies to the {about}.")

    def add(
        self,
        kind: str,
        values: Values,
        anchor: date | None,
        subject: str,
        source_subject: str,
        about: str,
        months: int = 0,
        not_for: frozenset[str] = frozenset(),
    ) -> list[tuple[Rule, Applies]]:
        """Add a series for each rule that applies; a missing anchor is one problem."""
        rules = self.rules.get(kind, ())
        if not_for:
            rules = tuple(rule for rule in rules if rule.purpose not in not_for)
        matched = applying(rules, values)
        planned = [(rule, answer) for rule, answer in matched if rule.phases]
        if anchor is None:
            if planned:
                self.found.problem("no_anchor", source_subject, f"The {about} has no day to count from.")
            return matched
        for rule, answer in planned:
            # A full skin check is the patient's; node examination and imaging stay with their diagnosis.
            whose = subject if kind != "diagnosis" or rule.purpose == "full_skin_check" else source_subject
            phases = tuple(decided(phase, months) for phase in rule.phases)
            self.found.series.append(
                Series(rule, anchor, whose, source_subject, about, phases, answer is Applies.YES)
            )
        return matched


def _plans_check(matched: list[tuple[Rule, Applies]]) -> bool:
    return _any_for("full_skin_check", matched)


def _any_for(purpose: str, matched: list[tuple[Rule, Applies]]) -> bool:
    return any(rule.purpose == purpose for rule, _ in matched)


def decided(phase: Phase, months: int) -> Phase:
    """A phase “as decided” with the months of the decision in it."""
    if not phase.as_decided:
        return phase
    span = dates.Duration(months)
    return replace(phase, short=span, long=span, target=span, length=span, as_decided=False)


def _first_assessment(phase: Phase) -> Phase:
    """Due on the first day of the record, late as soon as the renewal rule's tolerance is over."""
    none = dates.ZERO
    return Phase(none, none, none, none, none, phase.late, once=True)


def latest_decision(facts: Facts, lesion_id: str) -> DecisionFact | None:
    mine = [decision for decision in facts.decisions if decision.lesion == lesion_id]
    return max(mine, key=lambda decision: (decision.on, decision.id), default=None)


def unexamined(facts: Facts, lesion: LesionFacts) -> list[UrgentSign]:
    """Urgent signs that no dermatologist has answered by an examination in person."""
    if lesion.state == "entered_in_error":
        return []
    seen = [day for day in (lesion.examined_in_person_on, _removal_decided(facts, lesion)) if day]
    answered = max(seen, default=date.min)
    return sorted(
        (sign for sign in lesion.urgent if sign.on > answered), key=lambda sign: (sign.on, sign.sign)
    )


def _removal_decided(facts: Facts, lesion: LesionFacts) -> date | None:
    """A sign noted before the decision to remove is answered once the lesion is out; a later one is not."""
    if lesion.state != "removed":
        return None
    words = ("biopsy", "excise", "already_removed")
    days = [d.on for d in facts.decisions if d.lesion == lesion.id and d.decision in words]
    return max(days, default=None)


def first_day(facts: Facts) -> date | None:
    """The earliest day on which anything is known about the patient."""
    return min(_days(facts), default=None)


def _days(facts: Facts) -> Iterator[date]:
    for day in (
        *(diagnosis.anchor for diagnosis in facts.diagnoses),
        *(lesion.since for lesion in facts.lesions),
        *(decision.on for decision in facts.decisions),
        *(procedure.on for procedure in facts.procedures),
        *(done.on for done in facts.done),
    ):
        if day is not None:
            yield day


def _one(value: str | None) -> frozenset[str | bool] | None:
    return None if value is None else frozenset({value})


def _months(months: int) -> str:
    return f"{months} month{'s' if months != 1 else ''}"
