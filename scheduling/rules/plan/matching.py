"""Decide which rules apply to a fact: yes, no, or maybe where something is not known."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import IntEnum

from scheduling.rules.facts.facts import Diagnosis
from scheduling.rules.plan import staging
from scheduling.rules.plan.messages import params
from scheduling.rules.plan.plan import Problem
from scheduling.rules.ruleset.ruleset import Condition, Rule
from scheduling.rules.ruleset.vocabulary import FIELDS

MALIGNANT = frozenset({"melanoma", "melanoma_in_situ", "scc", "scc_in_situ", "bcc", "other_malignant"})
_MELANOMA = frozenset({"melanoma", "melanoma_in_situ"})

# The values a fact may have: one when known, several or None when not, none where the fact does not exist.
Values = Mapping[str, "frozenset[str | bool] | None"]
_ABSENT = frozenset[str | bool]()


class Applies(IntEnum):
    NO = 0
    MAYBE = 1
    YES = 2


def matches(rule: Rule, values: Values) -> Applies:
    """Say whether a rule applies: the weakest answer of its conditions; without conditions it always applies."""
    answer = Applies.YES
    for condition in rule.when:
        found = _test(condition, values.get(condition.field, _ABSENT))
        if found is not Applies.YES:
            answer = found
        if found is Applies.NO:
            break
    return answer


def applying(rules: tuple[Rule, ...], values: Values) -> list[tuple[Rule, Applies]]:
    """Find the rules that apply or may apply, without those that are replaced by one that surely applies."""
    found = [(rule, answer) for rule in rules if (answer := matches(rule, values))]
    replaced = {other for rule, answer in found if answer is Applies.YES for other in rule.replaces}
    if not replaced:
        return found
    return [(rule, answer) for rule, answer in found if rule.id not in replaced]


def _test(condition: Condition, values: frozenset[str | bool] | None) -> Applies:
    if values is None:
        return Applies.MAYBE
    if condition.operator in ("at_least", "below"):
        return _measure(condition, values)
    hits = len(values.intersection(condition.values))
    if condition.operator == "not_in":
        hits = len(values) - hits
    if not hits:
        return Applies.NO
    return Applies.YES if hits == len(values) else Applies.MAYBE


def _measure(condition: Condition, values: frozenset[str | bool]) -> Applies:
    if not values:
        return Applies.NO
    typed = str(next(iter(values)))
    limit = Decimal(str(condition.values[0]))
    # Only Breslow thickness is rounded (AJCC 8); a deposit of 0.97 mm is below 1 mm.
    size = staging.rounded(typed) if condition.field == "thickness" else Decimal(typed.removeprefix(">="))
    reached = size >= limit
    if typed.startswith(">=") and not reached:
        return Applies.MAYBE
    return Applies.YES if reached == (condition.operator == "at_least") else Applies.NO


def diagnosis_values(diagnosis: Diagnosis, stages: frozenset[str]) -> Values:
    """Give the facts of a diagnosis that rules may ask for; `stages` from `staged`."""
    is_melanoma = diagnosis.code in _MELANOMA
    classed = diagnosis.risk_class
    return {
        "code": frozenset({diagnosis.code}),
        "invasive": one_of(diagnosis.invasive),
        "thickness": one_of(diagnosis.thickness) if is_melanoma else _ABSENT,
        "ulceration": one_of(diagnosis.ulceration) if is_melanoma else _ABSENT,
        "n": one_of(diagnosis.n),
        "m": one_of(diagnosis.m),
        "stage": frozenset[str | bool](stages),
        "stage_basis": one_of(diagnosis.stage_basis) if is_melanoma else _ABSENT,
        "primary": one_of(diagnosis.primary),
        "grade": one_of(diagnosis.grade) if diagnosis.code == "dysplastic_naevus" else _ABSENT,
        "sentinel": one_of(diagnosis.sentinel) if is_melanoma else _ABSENT,
        "deposit_mm": one_of(diagnosis.deposit_mm) if is_melanoma else _ABSENT,
        "nodes_cleared": one_of(diagnosis.nodes_cleared) if is_melanoma else _ABSENT,
        "risk_scheme": one_of(classed.scheme if classed else None) if not is_melanoma else _ABSENT,
        "risk_class": one_of(classed.class_ if classed else None) if not is_melanoma else _ABSENT,
    }


def any_melanoma() -> Values:
    """Give the facts of an invasive melanoma of which nothing else is known."""
    unknown = dict.fromkeys(FIELDS["diagnosis"])
    return {**unknown, "code": frozenset({"melanoma"}), "risk_scheme": frozenset(), "risk_class": frozenset()}


def one_of(value: str | bool | None) -> frozenset[str | bool] | None:
    """Give a value as the only possible one, None where it is not known."""
    return None if value is None else frozenset({value})


def staged(diagnosis: Diagnosis) -> tuple[frozenset[str], list[Problem]]:
    """
    Find the stages to plan for, and what a person must settle.

    A stated stage that the rest leaves open is taken; one that contradicts it is planned for beside the
    computed ones, so that the strictest rule governs until somebody decides.
    """
    if diagnosis.code not in _MELANOMA:
        return frozenset(), []
    subject = f"diagnosis:{diagnosis.id}"
    in_situ = diagnosis.code == "melanoma_in_situ"
    problems = []
    if diagnosis.invasive is not None and diagnosis.invasive == in_situ:
        said = "invasive" if diagnosis.invasive else "not_invasive"
        problems.append(Problem("contradiction", subject, params(diagnosis=diagnosis.code, said=said)))
    result = _stage_of(diagnosis, in_situ)
    stated = diagnosis.stage
    if stated is not None and result.possible and stated not in result.possible:
        given = {"t": result.t, "n": diagnosis.n or "not_stated", "m": diagnosis.m or "not_stated"}
        said_so = params(stated=stated, stages=_or(result.possible), **given)
        problems.append(Problem("stage_contradiction", subject, said_so))
        return result.possible | {stated}, problems
    if result.reason:
        problems.append(_cannot_stage(result, stated, subject))
    if stated and not result.at_least:
        return frozenset({stated}), problems
    # A minimum thickness is planned by the stricter of what is stated and what it may be.
    return result.possible | ({stated} if stated else frozenset()), problems


def _stage_of(diagnosis: Diagnosis, in_situ: bool) -> staging.Staging:
    return staging.stage(
        in_situ=in_situ,
        primary=diagnosis.primary,
        thickness=diagnosis.thickness,
        ulceration=diagnosis.ulceration,
        n=diagnosis.n,
        m=diagnosis.m,
        basis=diagnosis.stage_basis,
    )


def _cannot_stage(result: staging.Staging, stated: str | None, subject: str) -> Problem:
    if result.at_least and result.stage:
        said = params(stage=result.stage, why=result.reason, stages=_or(result.possible))
        return Problem("stage_at_least", subject, said)
    if stated and not result.at_least:
        said = params(kind_of="cannot_stage_stated", why=result.reason, stated=stated)
        return Problem("cannot_stage", subject, said)
    return Problem("cannot_stage", subject, params(why=result.reason, stages=_or(result.possible)))


def _or(stages: frozenset[str]) -> str:
    return ",".join(sorted(stages, key=staging.STAGES.index))
