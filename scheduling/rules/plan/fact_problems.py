"""Find facts that contradict each other: problems with names, never dropped (docs/domain.md, 14)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from scheduling.rules.facts.facts import Facts, LesionFacts
from scheduling.rules.plan.messages import params
from scheduling.rules.plan.plan import Problem
from scheduling.rules.plan.series_finder import (
    is_to_be_done,
    latest_decision,
    stands_as_decided,
    unanswered,
)


def contradictions(facts: Facts) -> Iterator[Problem]:
    yield from _unknown_lesions(facts)
    yield from _unknown_subjects(facts)
    for lesion in facts.lesions:
        yield from _lesion_state(facts, lesion)


def _unknown_lesions(facts: Facts) -> Iterator[Problem]:
    """Find lesions that are named and not on record: what was decided about them would be lost without a word."""
    known = {None, *(lesion.id for lesion in facts.lesions)}
    named: list[tuple[str, str | None, Mapping[str, str]]] = [
        *(("decision", one.lesion, {"decision": one.decision}) for one in facts.decisions),
        *(("diagnosis", one.lesion, {}) for one in facts.diagnoses),
        *(("procedure", one.lesion, {"kind": one.kind}) for one in facts.procedures),
    ]
    for by, lesion, more in named:
        if lesion is not None and lesion not in known:
            said = params(what=f"named_by_{by}", lesion=lesion, **more)
            yield Problem("unknown_lesion", f"lesion:{lesion}", said)


def _unknown_subjects(facts: Facts) -> Iterator[Problem]:
    known = {
        "patient",
        *(f"lesion:{one.id}" for one in facts.lesions),
        *(f"diagnosis:{one.id}" for one in facts.diagnoses),
        *(f"procedure:{one.id}" for one in facts.procedures),
    }
    for what, rows in (("done", facts.done), ("override", facts.overrides)):
        for subject in sorted({row.subject for row in rows if row.subject not in known}):
            yield Problem("unknown_subject", subject, params(what=what, about=subject))


def _lesion_state(facts: Facts, lesion: LesionFacts) -> Iterator[Problem]:
    subject, decision = f"lesion:{lesion.id}", latest_decision(facts, lesion.id)
    if decision is not None and is_to_be_done(decision, lesion):
        if not stands_as_decided(decision, lesion):
            said = {"decision": decision.decision, "day": str(decision.on)}
            yield Problem("decision_against_state", subject, params(**said, state=lesion.state))
    elif lesion.state == "biopsy_decided":
        yield Problem("state_without_decision", subject)
    elif _is_watched_by_nobody(lesion) and decision is None:
        yield Problem("watched_without_plan", subject)


def _is_watched_by_nobody(lesion: LesionFacts) -> bool:
    return lesion.state == "watched" and lesion.monitoring is None and not unanswered(lesion)
