"""Say what would happen to a patient by facts that are only supposed, under any rule set. Nothing is written."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext as _

from clinic.charts.year_strip import Dot, Kind, Mark, Strip, Window
from clinic.models import Purpose
from clinic.wording import SPOKEN, write_day
from scheduling.planning import visits_wanted
from scheduling.planning.gather import INVASIVE
from scheduling.rules.facts import contradictions, facts
from scheduling.rules.facts.facts import Facts
from scheduling.rules.plan import engine
from scheduling.rules.plan.plan import Due, Plan, Problem
from scheduling.rules.plan.wording import value_words
from scheduling.rules.ruleset.ruleset import RuleSet

_BACK = timedelta(days=180)  # room for the name of a recent mark beside the line of today
_LONGEST_BACK = timedelta(days=400)
SUPPOSED = "supposed"  # the key of a diagnosis or a lesion that nobody has
# What a report may say beside the diagnosis and its day.
DETAILS = (
    "ulceration", "n", "m", "stage", "stage_basis", "grade", "sentinel", "deposit_mm", "nodes_cleared", "risk_class",
)  # fmt: skip
NOBODY = Facts(facts.PatientFacts())


class CannotSuppose(ValueError):
    """Raised where facts cannot be supposed so; the text says why, and of which part."""

    def __init__(self, words: str, part: str = "") -> None:
        super().__init__(words)
        self.part = part


@dataclass(frozen=True)
class Supposition:
    """What is supposed: each group may stay empty; an empty word is an unknown value."""

    code: str = ""
    how_many: int | None = None
    anchor: date | None = None
    thickness: str = ""
    ulceration: bool | None = None
    n: str = ""
    m: str = ""
    stage: str = ""
    stage_basis: str = ""
    grade: str = ""
    sentinel: str = ""
    deposit_mm: str = ""
    nodes_cleared: bool | None = None
    risk_class: str = ""
    tier: str = ""
    transplant: bool | None = None
    monitoring: str = ""
    region: str = ""
    since: date | None = None
    sign: str = ""
    done: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        return self == Supposition()


@dataclass(frozen=True)
class DueLine:
    """One due item, what the plan without the supposition asks for in its place, and the days that follow it.

    `now` is None where that plan does not ask for it, or where there is none to lay it beside.
    """

    due: Due
    now: Due | None
    then: tuple[date, ...]


@dataclass(frozen=True)
class WhatIfPlan:
    """What a set would plan by the supposed facts, and what it would no longer ask for."""

    lines: list[DueLine]
    gone: list[Due]
    problems: list[Problem]
    strip: Strip
    is_beside: bool  # whether it was laid beside a plan without the supposition


def suppose(known: Facts, given: Supposition, today: date) -> Facts:
    """Put what is supposed beside what is `known`. Raises CannotSuppose where the core could not read it."""
    supposed = replace(
        known,
        patient=_patient(known, given, today),
        diagnoses=(*known.diagnoses, *_diagnosis(given)),
        lesions=(*known.lesions, *_lesion(given, today)),
    )
    supposed = replace(supposed, done=(*known.done, *_done(supposed, given.done, today)))
    try:
        # Through the strict reader, so that nothing can be supposed which no record could hold.
        return facts.parse(facts.to_json(supposed))
    except facts.UnreadableFacts as error:
        part = error.path.rpartition(".")[2]
        said = _("This cannot be supposed: %(why)s.") % {"why": error.in_words(SPOKEN)}
        raise CannotSuppose(said, part) from None


def answer(
    supposed: Facts, ruleset: RuleSet, today: date, *, known: Facts | None = None, now: RuleSet | None = None
) -> WhatIfPlan:
    """Plan what is `supposed`, beside the plan of what is `known` under the rules in force where both are given."""
    plan = engine.plan(supposed, ruleset, today)
    without = engine.plan(known, now, today) if known and now else None
    until = today + visits_wanted.AHEAD
    later = [
        one
        for one in visits_wanted.following(supposed, ruleset, plan.due, today, until)
        if one not in plan.due
    ]
    keys = {_key(due) for due in plan.due}
    return WhatIfPlan(
        lines=[DueLine(due, _instead(due, without), _then(due, later)) for due in plan.due],
        gone=[due for due in without.due if _key(due) not in keys] if without else [],
        problems=list(plan.problems),
        strip=_strip(supposed, plan, later, today, until),
        is_beside=without is not None,
    )


def _patient(known: Facts, given: Supposition, today: date) -> facts.PatientFacts:
    risk = known.patient.risk
    if given.tier:
        tier: Any = given.tier
        risk = risk.followed_by(tier, today) if risk else facts.Risk(tier, today, today)
    if given.transplant is not None:
        if risk is None:
            raise CannotSuppose(_("A transplant is a fact of the risk assessment: choose the tier."), "tier")
        risk = replace(risk, transplant=given.transplant)
    return replace(known.patient, risk=risk)


def _diagnosis(given: Supposition) -> Iterable[facts.Diagnosis]:
    words: dict[str, Any] = {
        name: None if getattr(given, name) == "" else getattr(given, name)
        for name in ("anchor", "thickness", *DETAILS)
    }
    if not given.code:
        if given.how_many or any(value is not None for value in words.values()):
            raise CannotSuppose(_("Choose which diagnosis is supposed, or leave its details empty."), "code")
        return
    classed = words.pop("risk_class")
    first = facts.Diagnosis(
        id=SUPPOSED,
        code=given.code,  # type: ignore[arg-type]  # one of the closed words
        invasive=INVASIVE.get(given.code),
        primary="known" if given.code == "melanoma" else None,
        risk_class=facts.RiskClass("S3", classed) if classed else None,
        **words,
    )
    yield first
    yield from (replace(first, id=f"{SUPPOSED}-{number}") for number in range(2, (given.how_many or 1) + 1))


def _lesion(given: Supposition, today: date) -> Iterable[facts.LesionFacts]:
    if not given.monitoring and not given.sign:
        if given.since or given.region:
            raise CannotSuppose(
                _("Choose whether the lesion is watched for a short or a long time."), "monitoring"
            )
        return
    signs = (facts.UrgentSign(SUPPOSED, given.sign, today),) if given.sign else ()  # type: ignore[arg-type]  # one of the closed words
    words: dict[str, Any] = {"monitoring": given.monitoring or None, "region": given.region or None}
    yield facts.LesionFacts(id=SUPPOSED, since=given.since or today, urgent=signs, **words)


def _done(supposed: Facts, purposes: Iterable[str], today: date) -> Iterable[facts.Done]:
    """Suppose each purpose as done, for all that it can be about: all procedures, all tumours, or the patient."""
    procedures = [cut.subject for cut in supposed.procedures]
    tumours = [f"diagnosis:{row.id}" for row in supposed.diagnoses]
    for purpose in purposes:
        about = {"procedure": procedures, "diagnosis": tumours}.get(
            contradictions.subject_of(purpose), ["patient"]
        )
        yield from (facts.Done(purpose, subject, today) for subject in about)  # type: ignore[arg-type]  # one of the closed words


def _key(due: Due) -> tuple[str, str]:
    return due.purpose, due.subject


def _instead(due: Due, without: Plan | None) -> Due | None:
    return next((one for one in without.due if _key(one) == _key(due)), None) if without else None


def _then(due: Due, later: Iterable[Any]) -> tuple[date, ...]:
    """List the visits that follow, one for what one visit completes, as the forecast counts them."""
    days = visits_wanted.visits([due, *(one for one in later if _key(one) == _key(due))], due.target)
    return tuple(sorted(days)[1:])


def _strip(supposed: Facts, plan: Plan, later: Iterable[Any], today: date, until: date) -> Strip:
    # From the first window that is open, or the bar of somebody long overdue would begin outside the drawing.
    first = min([today, *(due.earliest for due in plan.due)]) - _BACK
    start = max(first, today - _LONGEST_BACK)
    windows = [_bar(due, "care" if due.latest < today else "open") for due in plan.due]
    windows += [_bar(one, "planned") for one in later if one.earliest <= until]
    days = sorted({done.on for done in supposed.done if start <= done.on <= until})
    marks = [
        Mark(row.anchor, f"{value_words(row.code, SPOKEN)} {write_day(row.anchor)}")
        for row in supposed.diagnoses
        if row.anchor and start <= row.anchor <= until
    ]
    return Strip(
        start, until, today, windows=windows, dots=[Dot(day, _("visit")) for day in days], marks=marks
    )


def _bar(due: Any, kind: Kind) -> Window:
    label = _("%(what)s, number %(number)s") % {"what": Purpose(due.purpose).label, "number": due.number}
    return Window(due.earliest, due.target, due.latest, kind, label)
