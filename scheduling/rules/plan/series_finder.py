"""Find the series of one patient: every rule on every fact that it applies to, and what only a person can answer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from operator import attrgetter
from typing import Any

from scheduling.rules import dates
from scheduling.rules.facts.facts import DecisionFact, Diagnosis, Facts, LesionFacts, Procedure, UrgentSign
from scheduling.rules.plan.matching import (
    MALIGNANT,
    Applies,
    Values,
    any_melanoma,
    applying,
    diagnosis_values,
    one_of,
    staged,
)
from scheduling.rules.plan.messages import Params, Value, params
from scheduling.rules.plan.plan import Problem
from scheduling.rules.plan.series import Series
from scheduling.rules.ruleset.ruleset import Phase, Rule, RuleSet
from scheduling.rules.ruleset.vocabulary import Anchor

CHECK, SUTURES, RESULT = "full_skin_check", "suture_removal", "result_visit"
BLOCKS_MONITORING = frozenset({"raised", "firm", "growing", "bleeding"})
_TO_BE_DONE = ("biopsy", "excise", "refer")
_id = attrgetter("id")
_AS_DECIDED = {"biopsy": "biopsy_decided", "excise": "biopsy_decided", "refer": "watched"}


@dataclass(frozen=True)
class Source:
    """What a series comes from: its id, whose problem it is, since when it is known, and how a reason begins."""

    of: str
    subject: str
    known_on: date
    head: str
    about: Params


@dataclass
class Found:
    """What a rule set says about a patient before anything that was done is counted."""

    series: list[Series] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    # No rule plans a skin check: settled while a clinician's override does.
    without_check: list[Problem] = field(default_factory=list)

    def problem(self, code: str, subject: str, **values: Value | None) -> None:
        self.problems.append(Problem(code, subject, params(**values)))


class SeriesFinder:
    """Finds every series of a patient; facts are taken in the order of ids: the order of lists does not matter."""

    def __init__(self, facts: Facts, ruleset: RuleSet) -> None:
        self.facts, self.found = facts, Found()
        self.rules, self.about = ruleset.by_anchor, ruleset.about

    def find(self) -> Found:
        for diagnosis in sorted(self.facts.diagnoses, key=_id):
            self.diagnosis(diagnosis)
        self.several_carcinomas()
        self.risk()
        for lesion in sorted(self.facts.lesions, key=_id):
            self.lesion(lesion)
        for procedure in sorted(self.facts.procedures, key=_id):
            self.procedure(procedure)
        return self.found

    # ---- diagnoses

    def diagnosis(self, diagnosis: Diagnosis) -> None:
        subject = f"diagnosis:{diagnosis.id}"
        stages, problems = staged(diagnosis)
        self.found.problems += problems
        matched = applying(self.about("diagnosis", diagnosis.code), diagnosis_values(diagnosis, stages))
        planned = [(rule, answer) for rule, answer in matched if rule.phases]
        anchor, source = self.day_of(diagnosis, bool(planned))
        unstaged = diagnosis.stage is None and any(one.code == "cannot_stage" for one in problems)
        unsure = diagnosis.anchor is None or unstaged
        if diagnosis.code == "melanoma" and unsure:
            planned = self.with_strictest(planned)
        for rule, answer in planned:
            self.add(rule, anchor, source, certain=answer is Applies.YES and diagnosis.anchor is not None)
        about = _named(diagnosis)
        if diagnosis.code in MALIGNANT and not any(rule.purpose == CHECK for rule, _ in matched):
            self.no_check(subject, **about | _classed(diagnosis, about))
        elif not problems and any(answer is Applies.MAYBE for _, answer in matched):
            self.found.problem("missing_fact", subject, **about)
        if diagnosis.code == "dysplastic_naevus":
            self.graded(diagnosis, subject, about)

    def day_of(self, diagnosis: Diagnosis, planned: bool) -> tuple[date, Source]:
        """Give the day to count from; where nobody recorded one, the day of the report, and it is asked about."""
        subject, known = f"diagnosis:{diagnosis.id}", diagnosis.known_on or diagnosis.anchor or date.max
        anchor = diagnosis.anchor or known
        if diagnosis.anchor is None and planned:
            self.found.problem("no_anchor", subject, day=str(anchor), **_named(diagnosis))
        head = "diagnosis" if diagnosis.anchor else "diagnosis_reported"
        return anchor, Source(
            subject, subject, known, head, params(diagnosis=diagnosis.code, since=str(anchor))
        )

    def with_strictest(self, planned: list[tuple[Rule, Applies]]) -> list[tuple[Rule, Applies]]:
        """Add the shortest interval of any melanoma rule of the set: what is unanswered is held by the strictest."""
        checks = [rule for rule in self.rules.get("diagnosis", ()) if rule.purpose == CHECK and rule.phases]
        possible = [rule for rule, _ in applying(tuple(checks), any_melanoma())]
        strictest = min(possible, key=lambda rule: dates.longest_days(rule.phases[0].target), default=None)
        if strictest is None or any(rule.id == strictest.id for rule, _ in planned):
            return planned
        return [*planned, (strictest, Applies.MAYBE)]

    def graded(self, diagnosis: Diagnosis, subject: str, about: dict[str, Value]) -> None:
        if diagnosis.grade is None:
            self.found.problem("grade_missing", subject, **about)
        elif diagnosis.grade == "severe" and not self.asks_about("diagnosis", "grade"):
            self.found.problem("no_rule", subject, kind_of="no_rule_grade", **about)

    def several_carcinomas(self) -> None:
        count = sum(diagnosis.code == "scc" for diagnosis in self.facts.diagnoses)
        if count > 1:
            self.found.problem("no_rule", "patient", kind_of="no_rule_several_scc", count=count)

    def asks_about(self, anchor: str, name: str) -> bool:
        rules = self.rules.get(anchor, ())
        return any(condition.field == name for rule in rules for condition in rule.when)

    def no_check(self, subject: str, **values: Value) -> None:
        self.found.without_check.append(Problem("no_rule", subject, params(**values)))

    # ---- risk

    def risk(self) -> None:
        risk = self.facts.patient.risk
        if risk is None:
            self.no_assessment()
            return
        values: Values = {"tier": frozenset({risk.tier}), "transplant": one_of(risk.transplant)}
        known = risk.tier_since or risk.assessed_on
        source = Source("patient", "patient", known, "risk", params(tier=risk.tier, since=str(known)))
        matched = applying(self.about("risk", risk.tier), values)
        for rule, answer in matched:
            if rule.phases:
                self.add(
                    rule,
                    risk.assessed_on,
                    source,
                    certain=answer is Applies.YES,
                    revived_on=risk.assessed_on,
                )
        if not any(rule.purpose == CHECK for rule, _ in matched):
            self.no_check("patient", about="tier", tier=risk.tier)
        if risk.transplant and not self.asks_about("risk", "transplant"):
            self.found.problem("no_rule", "patient", kind_of="no_rule_transplant")
        self.contradicted_tier()

    def contradicted_tier(self) -> None:
        risk = self.facts.patient.risk
        melanomas = (one for one in self.facts.diagnoses if one.code == "melanoma")
        melanoma = min(melanomas, key=lambda one: one.id, default=None)
        if risk and risk.tier == "average" and melanoma:
            self.found.problem("tier_contradicts_diagnosis", "patient", **_named(melanoma))

    def looser_checks(self) -> list[Series]:
        """Find the checks of the tiers below the patient's own that are above average."""
        risk = self.facts.patient.risk
        order = ("above_average", "high", "very_high")
        if risk is None or risk.tier not in order:
            return []
        below = order[: order.index(risk.tier)]
        source = Source("patient", "patient", risk.assessed_on, "risk", ())
        found = []
        for tier in below:
            matched = applying(self.about("risk", tier), {"tier": frozenset({tier})})
            found += [
                self.series_of(rule, risk.assessed_on, source)
                for rule, _ in matched
                if rule.purpose == CHECK and rule.phases
            ]
        return found

    def no_assessment(self) -> None:
        """Plan a risk assessment where none is on record, from the first day of the record on."""
        since = self.facts.patient.records_since or first_day(self.facts)
        renewals = [r for r in self.rules.get("risk", ()) if r.purpose == "risk_assessment" and r.phases]
        if since is None or not renewals:
            why = "no_day" if since is None else "no_rule"
            self.found.problem("risk_assessment_missing", "patient", why=why)
            return
        source = Source("patient", "patient", since, "no_assessment", params(since=str(since)))
        for rule in renewals:
            first = replace(rule, spacing="anchored")
            self.found.series.append(
                replace(self.series_of(first, since, source), phases=(_first_assessment(rule.phases[0]),))
            )

    # ---- lesions

    def lesion(self, lesion: LesionFacts) -> None:
        decision = latest_decision(self.facts, lesion.id)
        if decision is not None and is_to_be_done(decision, lesion):
            self.to_be_done(decision, lesion)
        if lesion.state != "watched" or any(s.sign in BLOCKS_MONITORING for s in unanswered(lesion)):
            return
        subject = f"lesion:{lesion.id}"
        if lesion.monitoring is not None:
            self.monitored(lesion, subject)
        if decision is not None and decision.decision == "look_again":
            self.look_again(decision, lesion)

    def monitored(self, lesion: LesionFacts, subject: str) -> None:
        values: Values = {
            "monitoring": frozenset({lesion.monitoring or ""}),
            "site": one_of(lesion.site),
            "region": one_of(lesion.region),
        }
        if lesion.since is None:
            about: dict[str, Value] = {"about": "monitoring", "monitoring": lesion.monitoring or ""}
            self.found.problem("no_anchor", subject, kind_of="no_anchor_lesion", **about)
            return
        since = lesion.since
        words = params(monitoring=lesion.monitoring, since=str(since))
        source = Source(subject, subject, since, "lesion", words)
        if not self.add_matching("lesion", lesion.monitoring or "", values, source):
            self.found.problem("no_rule", subject, about="monitoring", monitoring=lesion.monitoring)

    def to_be_done(self, decision: DecisionFact, lesion: LesionFacts) -> None:
        """Plan a biopsy, excision or referral that was decided, until it is done or decided otherwise."""
        about = params(since=str(decision.on), decision=decision.decision)
        source = Source(f"decision:{decision.id}", f"lesion:{lesion.id}", decision.on, "decision", about)
        self.add_matching("decision", decision.decision, _decision_values(decision, lesion), source)

    def look_again(self, decision: DecisionFact, lesion: LesionFacts) -> None:
        subject = f"lesion:{lesion.id}"
        if decision.months is None:
            self.found.problem("no_interval", subject, day=str(decision.on))
            return
        about = params(since=str(decision.on), months=decision.months)
        source = Source(f"decision:{decision.id}", subject, decision.on, "look_again", about)
        values = _decision_values(decision, lesion)
        if not self.add_matching("decision", decision.decision, values, source, decision.months):
            self.found.problem("no_rule", subject, about="look_again", months=decision.months)

    # ---- procedures

    def procedure(self, procedure: Procedure) -> None:
        """Plan what follows each procedure by itself, so that two on one day do not answer for each other."""
        values: Values = {
            "kind": frozenset({procedure.kind}),
            "site": one_of(procedure.site),
            "region": one_of(procedure.region),
        }
        subject = procedure.subject
        words = params(kind=procedure.kind, since=str(procedure.on))
        source = Source(subject, subject, procedure.on, "procedure", words)
        matched = applying(self.about("procedure", procedure.kind), values)
        for rule, answer in matched:
            if rule.phases and (rule.purpose != SUTURES or self.comes_out(procedure, answer)):
                self.add(self.as_urgent(rule, procedure), procedure.on, source, certain=answer is Applies.YES)
        self.sutures(procedure, matched)

    def as_urgent(self, rule: Rule, procedure: Procedure) -> Rule:
        """Make a malignant result that is not told yet urgent, whatever the set says of results."""
        if rule.purpose != RESULT:
            return rule
        mine = self.facts.diagnoses_of.get(procedure.lesion, ())
        since = (one for one in mine if one.code in MALIGNANT)
        known = any(one.known_on is None or one.known_on >= procedure.on for one in since)
        return replace(rule, urgency="A") if known else rule

    def comes_out(self, procedure: Procedure, answer: Applies) -> bool:
        """Say whether a day for the sutures is planned: only where there are some and their site is known."""
        return procedure.leaves_sutures and answer is Applies.YES

    def sutures(self, procedure: Procedure, matched: list[tuple[Rule, Applies]]) -> None:
        about: dict[str, Value] = {"about": "procedure", "kind": procedure.kind, "on": str(procedure.on)}
        subject, instructed = procedure.subject, self.is_instructed(procedure)
        if procedure.sutures is False and instructed:
            self.found.problem("override_contradiction", subject, kind_of="sutures_contradiction", **about)
        if instructed or not self.plans_sutures() or self.sutures_settled(procedure):
            return
        answers = [answer for rule, answer in matched if rule.purpose == SUTURES]
        if procedure.kind == "biopsy" and procedure.sutures is None:
            self.found.problem("sutures_unknown", subject, **about)
        elif procedure.leaves_sutures and procedure.site is None and procedure.region is None:
            self.found.problem("sutures_site_unknown", subject, **about)
        elif procedure.leaves_sutures and Applies.YES not in answers:
            self.found.problem("no_rule", subject, kind_of="no_rule_sutures", **about)

    def plans_sutures(self) -> bool:
        """Say whether the set plans the removal of sutures: only then is somebody asked about what it does not list."""
        return any(rule.purpose == SUTURES for rule in self.rules.get("procedure", ()))

    def is_instructed(self, procedure: Procedure) -> bool:
        return (SUTURES, procedure.subject) in self.facts.overrides_about

    def sutures_settled(self, procedure: Procedure) -> bool:
        since = self.facts.patient.records_since
        before_records = since is not None and procedure.on < since
        done = self.facts.done_about.get((SUTURES, procedure.subject), ())
        return before_records or any(item.on >= procedure.on for item in done)

    # ---- series

    def add_matching(
        self, kind: Anchor, word: str, values: Values, source: Source, months: int = 0
    ) -> list[tuple[Rule, Applies]]:
        """Add a series for each rule that applies; returns those rules, also the ones that plan nothing."""
        matched = applying(self.about(kind, word), values)
        for rule, answer in matched:
            if rule.phases:
                self.add(rule, source.known_on, source, certain=answer is Applies.YES, months=months)
        return matched

    def add(
        self,
        rule: Rule,
        anchor: date,
        source: Source,
        *,
        certain: bool,
        months: int = 0,
        revived_on: date | None = None,
    ) -> None:
        made = self.series_of(rule, anchor, source, months, certain=certain, revived_on=revived_on)
        self.found.series.append(made)

    def series_of(self, rule: Rule, anchor: date, source: Source, months: int = 0, **more: Any) -> Series:
        # A full skin check is the patient's; node examination and imaging stay with their diagnosis.
        whose = (
            "patient" if rule.anchor in ("diagnosis", "risk") and rule.purpose == CHECK else source.subject
        )
        phases = rule.phases
        if rule.is_as_decided:
            phases = tuple(decided(phase, months) for phase in phases)
        return Series(
            rule,
            anchor,
            whose,
            source.subject,
            source.of,
            source.head,
            source.about,
            source.known_on,
            phases,
            **more,
        )


def decided(phase: Phase, months: int) -> Phase:
    """Give a phase “as decided” the months of the decision."""
    if not phase.as_decided:
        return phase
    span = dates.Duration(months)
    return replace(phase, short=span, long=span, target=span, length=span, as_decided=False)


def _first_assessment(phase: Phase) -> Phase:
    """Plan the first assessment: due on the first day of the record, late once the renewal rule's tolerance is over."""
    none = dates.ZERO
    return Phase(none, none, none, none, none, phase.late, once=True)


def _decision_values(decision: DecisionFact, lesion: LesionFacts) -> Values:
    site, region = one_of(lesion.site), one_of(lesion.region)
    return {"decision": frozenset({decision.decision}), "site": site, "region": region}


def latest_decision(facts: Facts, lesion_id: str) -> DecisionFact | None:
    mine = facts.decisions_of.get(lesion_id)
    return mine[-1] if mine else None


def is_to_be_done(decision: DecisionFact, lesion: LesionFacts) -> bool:
    """Say whether something was decided that is not done; an entry in error has nothing to be done."""
    open_ = decision.decision in _TO_BE_DONE and decision.fulfilled_on is None
    return open_ and lesion.state != "entered_in_error"


def stands_as_decided(decision: DecisionFact, lesion: LesionFacts) -> bool:
    return lesion.state == _AS_DECIDED[decision.decision]


def unanswered(lesion: LesionFacts) -> list[UrgentSign]:
    """Find the urgent signs that no examination in person has answered yet, the oldest first."""
    if not lesion.urgent or lesion.state == "entered_in_error":
        return []
    found = (sign for sign in lesion.urgent if sign.answered_on is None)
    return sorted(found, key=lambda sign: (sign.on, sign.sign, sign.id))


def first_day(facts: Facts) -> date | None:
    """Find the earliest day on which anything is known about the patient."""
    return min(_days(facts), default=None)


def _days(facts: Facts) -> Iterator[date]:
    for day in (
        *(diagnosis.anchor or diagnosis.known_on for diagnosis in facts.diagnoses),
        *(lesion.since for lesion in facts.lesions),
        *(decision.on for decision in facts.decisions),
        *(procedure.on for procedure in facts.procedures),
        *(done.on for done in facts.done),
    ):
        if day is not None:
            yield day


def _named(diagnosis: Diagnosis) -> dict[str, Value]:
    """What a problem is about: a diagnosis, and since when where anybody knows."""
    since = diagnosis.anchor or diagnosis.known_on
    if since is None:
        return {"about": "diagnosis_without_day", "diagnosis": diagnosis.code}
    return {"about": "diagnosis", "diagnosis": diagnosis.code, "since": str(since)}


def _classed(diagnosis: Diagnosis, about: dict[str, Value]) -> dict[str, Value]:
    classed = diagnosis.risk_class
    if classed is None:
        return {}
    kind = "classed" if "since" in about else "classed_without_day"
    return {"about": kind, "scheme": classed.scheme, "risk_class": classed.class_}
