"""Compare rule sets side by side for facts that somebody chose: nobody's record is read and nothing is kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from clinic.wording import SPOKEN
from scheduling.planning import visits_wanted
from scheduling.planning.gather import INVASIVE
from scheduling.rule_changes.what_if import SUPPOSED, CannotSuppose
from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import Facts
from scheduling.rules.plan import engine
from scheduling.rules.plan.plan import Due, Problem
from scheduling.rules.ruleset.ruleset import Rule, RuleSet
from scheduling.rules.ruleset.vocabulary import PURPOSES

FIRST = 4  # how many days of each are shown


@dataclass(frozen=True)
class Chosen:
    """The facts that were chosen: somebody excised, assessed and checked today; an empty word is an unknown value."""

    code: str = ""
    stage: str = ""
    thickness: str = ""
    deposit_mm: str = ""
    nodes_cleared: bool | None = None
    risk_class: str = ""
    tier: str = ""
    transplant: bool | None = None


@dataclass(frozen=True)
class Planned:
    """What one set plans for one purpose: its rules, the governing one first, and the first days."""

    rules: tuple[Rule, ...]
    first: Due
    then: tuple[date, ...]
    may_apply: bool


@dataclass(frozen=True)
class Column:
    """What one set plans for every purpose, and what it has to ask."""

    planned: dict[str, Planned]
    problems: tuple[Problem, ...]


def facts_of(chosen: Chosen, today: date) -> Facts:
    """Make FACTS of what was chosen; CannotSuppose with the field where the core could not read them."""
    tier: Any = chosen.tier or None
    risk = facts.Risk(tier, today, today, today, chosen.transplant) if tier else None
    supposed = Facts(
        patient=facts.PatientFacts(risk=risk),
        diagnoses=(_diagnosis(chosen, today),) if chosen.code else (),
        # Checked today: otherwise each set would first ask for the check that is missing, and all would look alike.
        done=(facts.Done("full_skin_check", "patient", today),),
    )
    try:
        return facts.parse(facts.to_json(supposed))
    except facts.UnreadableFacts as error:
        raise CannotSuppose(
            _("This cannot be supposed: %(why)s.") % {"why": error.in_words(SPOKEN)},
            error.path.rpartition(".")[2],
        ) from None


def _diagnosis(chosen: Chosen, today: date) -> facts.Diagnosis:
    words: Any = {name: getattr(chosen, name) or None for name in ("stage", "thickness", "deposit_mm")}
    code: Any = chosen.code
    return facts.Diagnosis(
        id=SUPPOSED,
        code=code,
        anchor=today,
        known_on=today,
        invasive=INVASIVE.get(chosen.code),
        primary="known" if chosen.code == "melanoma" else None,
        nodes_cleared=chosen.nodes_cleared,
        risk_class=facts.RiskClass("S3", chosen.risk_class) if chosen.risk_class else None,
        **words,
    )


def _is_asked(problem: Problem, chosen: Chosen) -> bool:
    """Say whether a problem is asked because of what was chosen, not only because of what nobody chose."""
    if problem.code == "risk_assessment_missing":
        return bool(chosen.tier)
    return not (chosen.stage and problem.code == "cannot_stage")


def column(chosen: Chosen, ruleset: RuleSet, today: date) -> Column:
    """Give what one set says of these facts."""
    supposed = facts_of(chosen, today)
    plan = engine.plan(supposed, ruleset, today)
    until = today + visits_wanted.AHEAD
    later = visits_wanted.following(supposed, ruleset, plan.due, today, until)
    by_id = {rule.id: rule for rule in ruleset.rules}
    # Without a tier the renewal of the assessment says nothing about the set.
    shown = [due for due in plan.due if chosen.tier or due.purpose != "risk_assessment"]
    planned = {due.purpose: _planned(due, later, by_id) for due in shown}
    return Column(planned, tuple(one for one in plan.problems if _is_asked(one, chosen)))


def _planned(due: Due, later: Sequence[Any], by_id: dict[str, Rule]) -> Planned:
    same = [one for one in later if (one.purpose, one.subject) == (due.purpose, due.subject)]
    days = sorted(visits_wanted.visits(same, due.target))
    rules = dict.fromkeys([due.rule, *(reason.rule for reason in due.reasons)])
    return Planned(
        rules=tuple(by_id[rule] for rule in rules if rule in by_id),
        first=due,
        then=tuple(days[1:FIRST]),
        may_apply=any(dict(reason.params).get("certain") is False for reason in due.reasons),
    )


def purposes(columns: Sequence[Column]) -> list[str]:
    """List the purposes that any of the sets plans, in the order of the vocabulary."""
    return [purpose for purpose in PURPOSES if any(purpose in one.planned for one in columns)]
