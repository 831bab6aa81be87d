"""Set aside days to come in the facts: each is a problem, completes nothing, lengthens nothing (docs/domain.md, 14)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from operator import is_
from typing import Any, TypeVar

from scheduling.rules.facts.facts import (
    DecisionFact,
    Diagnosis,
    Facts,
    LesionFacts,
    PatientFacts,
    Risk,
    UrgentSign,
)
from scheduling.rules.plan.messages import params
from scheduling.rules.plan.plan import Problem

_Row = TypeVar("_Row", UrgentSign, Diagnosis, LesionFacts, DecisionFact, PatientFacts, Facts)


@dataclass
class FutureDays:
    """The facts as they stand today, the problems of their days to come, and the first day on which one is reached."""

    today: date
    problems: list[Problem] = field(default_factory=list)
    next_day: date | None = None

    def settle(self, facts: Facts) -> Facts:
        """Settle a day to come: what completes, answers or closes is left out; what opens a duty counts from today."""
        return _settled(
            facts,
            patient=self.patient(facts.patient),
            diagnoses=_each(self.diagnosis, facts.diagnoses),
            lesions=_each(self.lesion, facts.lesions),
            decisions=_each(self.decision, facts.decisions),
            procedures=self.kept("procedure", facts.procedures, "on"),
            done=self.kept("done", facts.done, "on"),
            closed=self.kept("closing", facts.closed, "on"),
            overrides=self.kept("override_decided", facts.overrides, "decided_on"),
        )

    def patient(self, patient: PatientFacts) -> PatientFacts:
        return _settled(
            patient,
            risk=self.risk(patient.risk) if patient.risk else None,
            records_since=self.dropped("records_since", "patient", patient.records_since),
            concerns=_each(lambda sign: self.sign(sign, "patient"), patient.concerns),
        )

    def risk(self, risk: Risk) -> Risk:
        """Settle a tier assessed on a day to come: it orders checks from today on and is no assessment made."""
        if risk.assessed_on <= self.today:
            return risk
        self.say("assessment", "patient", risk.assessed_on, counts=True)
        since = min(risk.since or self.today, self.today)
        return replace(risk, assessed_on=since, since=since, tier_since=None)

    def sign(self, sign: UrgentSign, subject: str) -> UrgentSign:
        answered = self.dropped("examination", subject, sign.answered_on)
        return _settled(sign, on=self.from_today("sign", subject, sign.on), answered_on=answered)

    def diagnosis(self, one: Diagnosis) -> Diagnosis:
        """Settle a melanoma without any day: it is followed from today, until somebody records one."""
        subject = f"diagnosis:{one.id}"
        anchor = self.from_today("anchor", subject, one.anchor)
        known = self.from_today("report", subject, one.known_on)
        if anchor is None and known is None:
            known = self.today
            self.reached(date.fromordinal(self.today.toordinal() + 1))
        return _settled(one, anchor=anchor, known_on=known)

    def lesion(self, one: LesionFacts) -> LesionFacts:
        subject = f"lesion:{one.id}"
        return _settled(
            one,
            since=self.from_today("watching", subject, one.since),
            last_image_on=self.dropped("picture", subject, one.last_image_on),
            urgent=_each(lambda sign: self.sign(sign, subject), one.urgent),
        )

    def decision(self, one: DecisionFact) -> DecisionFact:
        subject = f"lesion:{one.lesion}"
        on = self.from_today("decision", subject, one.on)
        return _settled(one, on=on, fulfilled_on=self.dropped("fulfilled", subject, one.fulfilled_on))

    def kept(self, what: str, rows: tuple[Any, ...], name: str) -> tuple[Any, ...]:
        to_come = [row for row in rows if getattr(row, name) > self.today]
        for row in to_come:
            self.say(what, row.subject, getattr(row, name), counts=False)
        return tuple(row for row in rows if row not in to_come) if to_come else rows

    def dropped(self, what: str, subject: str, day: date | None) -> date | None:
        if day is None or day <= self.today:
            return day
        self.say(what, subject, day, counts=False)
        return None

    def from_today(self, what: str, subject: str, day: Any) -> Any:
        if day is None or day <= self.today:
            return day
        self.say(what, subject, day, counts=True)
        return self.today

    def say(self, what: str, subject: str, day: date, *, counts: bool) -> None:
        kind = "future_day_counts" if counts else "future_day"
        self.problems.append(Problem("future_day", subject, params(kind_of=kind, what=what, day=str(day))))
        # What counts from today counts from another day tomorrow.
        self.reached(date.fromordinal(self.today.toordinal() + 1) if counts else day)

    def reached(self, day: date) -> None:
        self.next_day = min(self.next_day or day, day)


def _settled(row: _Row, **values: Any) -> _Row:
    """Give the row with other values; itself where none differs, as nearly always: a copy of every row costs time."""
    for name, value in values.items():
        if getattr(row, name) is not value:
            return replace(row, **values)
    return row


def _each(settle: Callable[[_Row], _Row], rows: tuple[_Row, ...]) -> tuple[_Row, ...]:
    """Every row settled; the very same tuple where none differs."""
    if not rows:
        return rows
    settled = tuple([settle(row) for row in rows])
    return rows if all(map(is_, settled, rows)) else settled
