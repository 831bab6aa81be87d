"""Assess a patient's risk tier by the criteria in force, with its reasons; relative risks are shown, never multiplied.

The criteria are data that two people approve (template: `clinic/tiers/criteria.toml`); the clinic's guideline governs.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models import OuterRef, Subquery
from django.utils.translation import get_language

from clinic import clock, policies
from clinic.models import (
    Counselling,
    Member,
    Patient,
    PatientStatus,
    Policy,
    PolicyKind,
    RiskAssessment,
    Tier,
)
from clinic.people import longer_waits, wording
from clinic.tiers import reading, tier_set
from clinic.tiers import wording as tier_wording
from clinic.tiers.tier_set import Context, Criterion, Prompt, TierSet
from clinic.trail import audit
from clinic.trail.record_days import check_day
from clinic.wording import SPOKEN, Words

FACTORS = tuple(name for name in tier_set.ANSWERS if name not in tier_set.DERIVED)
_SHIPPED = Path(__file__).parents[1] / "tiers" / "criteria.toml"


class RiskRefused(ValueError):
    """Raised where no assessment can be recorded; the text is the sentence for the page."""


class DecisionNeeded(RiskRefused):
    """Raised where the criteria leave something to whoever assesses: each field to fill in, with its sentence."""

    def __init__(self, fields: Mapping[str, Words], against: Iterable[Context] = ()) -> None:
        super().__init__(" ".join(map(str, fields.values())))
        # Published figures that speak against an average tier.
        self.fields, self.against = fields, tuple(against)


@dataclass(frozen=True)
class Move:
    """One patient whose answers give another tier under a set than the one on record, or leave an average one open."""

    patient: Patient
    assessment: RiskAssessment
    after: Tier
    reasons: tuple[Criterion, ...]
    left_open: bool = False
    before: tuple[Criterion, ...] = ()

    @property
    def leading(self) -> list[Criterion]:
        """Give the criteria that lead to the new tier; those of lower tiers add nothing."""
        return [reason for reason in self.reasons if reason.tier == self.after]


@dataclass(frozen=True)
class TierPreview:
    """What a set would say of every latest assessment, at the age of its day; nothing is written."""

    policy: Policy
    looked_at: int
    moves: tuple[Move, ...]

    @property
    def digest(self) -> str:
        """Give a digest of all that was shown (text, assessments, answers), so that approving refers to just that."""
        moves = [(move.patient.pk, move.assessment.pk, move.after) for move in self.moves]
        shown = json.dumps([self.policy.sha256, self.looked_at, moves])
        return hashlib.sha256(shown.encode()).hexdigest()


def shipped() -> str:
    return _SHIPPED.read_text(encoding="utf-8")


# By language too: the same text is read once for each language that somebody here reads.
@lru_cache(maxsize=8)
def _loaded(sha256: str, text: str, language: str) -> TierSet:
    return reading.load(text, language)


def tiers_of(policy: Policy) -> TierSet:
    """Read a version of the criteria, with its texts in the reader's language where it has them."""
    return _loaded(policy.sha256, policy.toml, get_language() or "")


def faults_of(text: str) -> list[str]:
    """Say what is wrong with a text of criteria; empty where it may be used."""
    return tier_wording.say_faults(reading.check(text), SPOKEN)


def in_force() -> Policy | None:
    return policies.in_force(PolicyKind.TIERS)


@transaction.atomic
def assess(
    *,
    patient: Patient,
    by: Member,
    assessed_on: date,
    note: str = "",
    chosen: str = "",
    chosen_because: str = "",
    counselling: str = "",
    signed: str = "",
    **answers: Any,
) -> RiskAssessment:
    """Record a risk assessment; the latest counts, earlier ones stay, each with the set that judged it.

    Raises MakesLonger where a lower tier moves a duty later: `signed` says which days were looked at.
    """
    policy = in_force()
    if policy is None:
        raise RiskRefused(wording.NONE_IN_FORCE)
    check_day(patient, assessed_on, wording.THE_ASSESSMENT)
    known = all_answers(answers, patient.age_on(assessed_on))
    found = tiers_of(policy)
    tier, held = found.judge(known)
    because = chosen_because.strip()
    _check_choice(found, known, tier, chosen, because)
    _check_counselling(found, known, counselling)
    # Before the row is written: the days as they stand now, to be compared with those after.
    asked = longer_waits.before(patient)
    row = RiskAssessment.objects.create(
        patient=patient,
        by=by,
        assessed_on=assessed_on,
        note=note,
        tier=chosen or tier,
        reasons=[criterion.id for criterion in held],
        chosen_because=because,
        counselling=counselling,
        policy=policy,
        changed_at=clock.now(),
        **answers,
    )
    decided = {"chosen_because": because, "counselling": counselling}
    said = {name: words for name, words in decided.items() if words}
    said |= longer_waits.check(asked, by=by, signed=signed)
    audit.record(
        "risk.assess", by=by, subject=row, patient=patient, tier=row.tier, tiers=policy.version, **said
    )
    return row


def all_answers(answers: Mapping[str, Any], age: int) -> dict[str, Any]:
    """Put the answers together with what follows from them, such as how many relatives are affected."""
    relatives = answers["relatives"] + answers["other_relatives"]
    return {**answers, "age": age, "affected_relatives": relatives}


def _check_choice(found: TierSet, known: tier_set.Answers, tier: str, chosen: str, because: str) -> None:
    """Check that the assessor chose the tier where a published figure speaks against average, and nowhere else."""
    against = found.against_average(known)
    missing = {} if chosen in Tier.values else {"chosen": wording.CHOOSE}
    missing |= {} if because else {"chosen_because": wording.SAY_WHY}
    # The one place where the program does not judge: published figures speak against what the criteria say.
    if against and missing:
        raise DecisionNeeded(missing, against)
    if not against and (chosen or because):
        raise RiskRefused(wording.say_tier_is_given(tier))


def _check_counselling(found: TierSet, known: tier_set.Answers, counselling: str) -> None:
    prompts = found.prompts_of(known)
    if prompts and counselling not in Counselling.values:
        raise DecisionNeeded({"counselling": " ".join(f"{prompt.words}." for prompt in prompts)})
    # An answer to a question that nobody asked would read later as if there had been a reason to ask.
    if counselling and not prompts:
        raise RiskRefused(wording.NO_COUNSELLING_HERE)


def reasons_of(row: RiskAssessment) -> list[Criterion]:
    """Give the criteria that gave the tier, as the set that judged it words them, highest tier first."""
    return _named(row, tiers_of(row.policy))


def _named(row: RiskAssessment, found: TierSet) -> list[Criterion]:
    known = {criterion.id: criterion for criterion in found.criteria}
    return [known[code] for code in row.reasons if code in known]


def current(patient: Patient) -> RiskAssessment | None:
    return patient.risk_assessments.select_related("by", "policy").first()


@dataclass(frozen=True)
class StandingTier:
    """A patient's tier as FACTS have it: `since` above average, or not, and `tier_since` at least this high."""

    tier: str
    assessed_on: date
    since: date
    tier_since: date
    transplant: bool | None = None


def standing(patients: Iterable[int]) -> dict[int, StandingTier]:
    """Find each patient's tier, and since when it has stood without a break."""
    # All rows, in order: since when a tier stands without a break cannot be seen in the last one.
    rows = RiskAssessment.objects.filter(patient__in=patients).order_by("assessed_on", "pk")
    found: dict[int, StandingTier] = {}
    for patient, tier, day, transplant in rows.values_list("patient", "tier", "assessed_on", "transplanted"):
        found[patient] = _followed_by(found.get(patient), tier, day, transplant)
    return found


def _followed_by(before: StandingTier | None, tier: str, day: date, transplant: bool) -> StandingTier:
    if before is None:
        return StandingTier(tier, day, day, day, transplant)
    goes_on = (before.tier == Tier.AVERAGE) == (tier == Tier.AVERAGE)
    holds = Tier.values.index(tier) <= Tier.values.index(before.tier)
    since, tier_since = before.since if goes_on else day, before.tier_since if holds else day
    return StandingTier(tier, day, since, tier_since, transplant)


def answers_of(row: RiskAssessment) -> dict[str, Any]:
    """Give the answers of an assessment, with what follows from them on its day."""
    answers = {name: getattr(row, name) for name in FACTORS}
    return all_answers(answers, row.patient.age_on(row.assessed_on))


def context_of(row: RiskAssessment) -> list[Context]:
    """Give the published relative risks of the single factors that hold, by the set that judged them."""
    return tiers_of(row.policy).context_of(answers_of(row))


def prompts_of(row: RiskAssessment) -> list[Prompt]:
    """Give the questions that the set left to whoever assessed."""
    return tiers_of(row.policy).prompts_of(answers_of(row))


def differs(row: RiskAssessment, policy: Policy | None) -> Move | None:
    """Judge the same answers by another set; None where the tier is the same. A chosen tier stood on an average one."""
    if policy is None or row.policy_id == policy.pk:
        return None
    found, known = tiers_of(policy), answers_of(row)
    tier, held = found.judge(known)
    # A tier chosen by hand stood on criteria that said average, and criteria are what is compared here.
    before = Tier.AVERAGE if row.chosen_because else row.tier
    left_open = not row.chosen_because and bool(found.against_average(known))
    if tier in (before, row.tier) and not left_open:
        return None
    return Move(row.patient, row, Tier(tier), tuple(held), left_open)


def preview(policy: Policy) -> TierPreview:
    """Judge every active patient's latest assessment by the criteria of `policy`; nothing is written."""
    newest = RiskAssessment.objects.filter(patient=OuterRef("patient")).order_by("-assessed_on", "-pk")
    rows = (
        RiskAssessment.objects.filter(pk=Subquery(newest.values("pk")[:1]))
        .filter(patient__status=PatientStatus.ACTIVE)
        .select_related("patient")
        .order_by("patient__family_name", "patient__given_name", "patient")
    )
    found = list(rows)
    moves = (differs(row, policy) for row in found)
    return TierPreview(policy, len(found), tuple(_with_reasons(move for move in moves if move)))


def _with_reasons(moves: Iterable[Move]) -> Iterator[Move]:
    """Add to each the criteria that gave the tier on record; every set is read once."""
    sets = {policy.pk: tiers_of(policy) for policy in policies.signed(PolicyKind.TIERS)}
    for move in moves:
        yield replace(move, before=tuple(_named(move.assessment, sets[move.assessment.policy_id])))


@transaction.atomic
def approve(*, policy: Policy, by: Member, revision: int, digest: str) -> Policy:
    """Bring criteria into force, by whoever has seen who would move; no tier changes before a new assessment."""
    # Worked out anew: an assessment of the last minute may have moved somebody else.
    if digest != preview(policy).digest:
        raise policies.PolicyRefused(wording.LOOK_AT_THE_LIST)
    return policies.approve(policy=policy, by=by, revision=revision)
