"""One patient's life at random: whatever happens, the plan has one answer and nothing becomes later in silence.

docs/domain.md "Facts in, plan out", points 3, 5, 6, 7; a date moves back only for a reason that is stated.
"""

import os
from dataclasses import replace
from datetime import date, timedelta
from typing import get_args

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import (
    Closed,
    Diagnosis,
    Done,
    Facts,
    Override,
    PatientFacts,
    Risk,
    RiskClass,
    UrgentSign,
)
from scheduling.rules.plan import engine
from scheduling.rules.plan.patient_rows import REST_RULE, URGENT_RULE
from tests.scheduling.rules.test_properties import SETS, maybe, word

CHECK, EXAMINATION = ("full_skin_check", "patient"), ("lesion_examination", "patient")
NAMES = st.sampled_from(sorted(SETS))
TIERS = get_args(facts.Tier)
AGO = st.integers(0, 400).map(lambda days: timedelta(days))


def is_later(new, old):
    return new.latest > old.latest or new.target > old.target


class Life(RuleBasedStateMachine):
    @initialize(name=NAMES, since=maybe(AGO), code=st.sampled_from(["melanoma", "scc", "bcc"]), ago=AGO)
    def registered(self, name, since, code, ago):
        self.today = date(2024, 1, 31)
        self.rules = SETS[name]
        patient = PatientFacts(records_since=self.today - since if since is not None else None)
        first = Diagnosis("0", code, self.today - ago, stage="IB", risk_class=RiskClass("S3", "low"))
        self.facts = Facts(patient, (first,))

    def rows(self):
        return self.rows_of(self.facts)

    def rows_of(self, known):
        return {(due.purpose, due.subject): due for due in engine.plan(known, self.rules, self.today).due}

    def change(self, **lists):
        """New facts; the rows whose target or latest day became later, or that went, as (key, before, after or None)."""
        before = self.rows()
        self.facts = replace(self.facts, **lists)
        after = self.rows()
        moved = [(key, row, after.get(key)) for key, row in before.items()]
        return [(key, old, new) for key, old, new in moved if new is None or is_later(new, old)]

    def questions(self, code):
        answer = engine.plan(self.facts, self.rules, self.today)
        return [problem.text for problem in answer.problems if problem.code == code]

    @rule(
        code=word(facts.Code),
        ago=maybe(AGO),
        stage=maybe(word(facts.Stage)),
        thickness=maybe(st.sampled_from(["0.79", "1.04", ">=0.8", "2.05"])),
    )
    def new_diagnosis(self, code, ago, stage, thickness):
        anchor = self.today - ago if ago is not None else None
        one = Diagnosis(
            str(len(self.facts.diagnoses)), code, anchor, self.today, stage=stage, thickness=thickness
        )
        assert self.change(diagnoses=(*self.facts.diagnoses, one)) == []

    @rule(sign=word(facts.Sign))
    def concern(self, sign):
        patient = self.facts.patient
        one = UrgentSign(str(len(patient.concerns)), sign, self.today)
        assert self.change(patient=replace(patient, concerns=(*patient.concerns, one))) == []
        assert self.rows()[EXAMINATION].urgency == "A"

    @rule(data=st.data())
    @precondition(lambda self: self.facts.patient.concerns)
    def concern_examined(self, data):
        """Only the concern that the examination is linked to is answered, another one of that day is not."""
        concerns = list(self.facts.patient.concerns)
        index = data.draw(st.integers(0, len(concerns) - 1))
        concerns[index] = replace(concerns[index], answered_on=concerns[index].answered_on or self.today)
        moved = self.change(patient=replace(self.facts.patient, concerns=tuple(concerns)))
        assert {key for key, _, _ in moved} <= {EXAMINATION}
        closed = {row.of for row in self.facts.closed}
        open_ = [one for one in concerns if one.answered_on is None and f"concern:{one.id}" not in closed]
        assert (EXAMINATION in self.rows()) == bool(open_)

    @rule(ago=AGO)
    @precondition(lambda self: self.facts.patient.records_since)
    def older_records_are_found(self, ago):
        """A history that reaches further back may show that something is owed for longer."""
        patient = replace(self.facts.patient, records_since=self.facts.patient.records_since - ago)
        assert self.change(patient=patient) == []

    @rule(name=NAMES)
    def other_rules(self, name):
        """Only here may a rule's date move of itself: the plan then names the other set (point 7)."""
        self.rules = SETS[name]

    @rule(days=st.integers(1, 500))
    def time_passes(self, days):
        before = engine.plan(self.facts, self.rules, self.today)
        self.today += timedelta(days)
        after = engine.plan(self.facts, self.rules, self.today)
        assert after.due == before.due
        assert set(before.problems) <= set(after.problems)

    @invariant()
    def one_answer(self):
        answer = engine.plan(self.facts, self.rules, self.today)
        mirrored = facts.parse(facts.to_json(self.facts))
        lists = ("diagnoses", "lesions", "done", "closed", "overrides")
        mirrored = replace(mirrored, **{name: getattr(mirrored, name)[::-1] for name in lists})
        assert engine.plan(mirrored, self.rules, self.today) == answer
        assert answer.ruleset["sha256"] == self.rules.sha256

    @invariant()
    def every_date_is_a_day_with_its_reason(self):
        known = {one.id for one in self.rules.rules} | {URGENT_RULE, REST_RULE}
        for row in self.rows().values():
            assert date.min < row.earliest <= row.target <= row.latest < date.max
            assert row.reasons and row.reasons[0].rule == row.rule
            assert row.rule in known or row.rule.startswith("override:")
            assert row.of == row.reasons[0].of

    @invariant()
    def somebody_answers_for_the_patient(self):
        answer = engine.plan(self.facts, self.rules, self.today)
        assert answer.due or answer.problems


class FollowUp(Life):
    def spacing(self, row):
        return {one.id: one.spacing for one in self.rules.rules}.get(row.rule)

    @rule(tier=word(facts.Tier))
    def risk_assessed(self, tier):
        before = self.facts.patient.risk
        risk = before.followed_by(tier, self.today) if before else Risk(tier, self.today, self.today)
        patient = replace(self.facts.patient, risk=risk)
        for key, old, new in self.change(patient=patient):
            falls = before is not None and TIERS.index(tier) < TIERS.index(before.tier)
            # After a discharge the count begins anew with the assessment; what stood was the next rule's row.
            assert key[0] == "risk_assessment" or falls, (old, new)

    @rule(data=st.data())
    @precondition(lambda self: self.rows().get(CHECK))
    def visit(self, data):
        """Up to 200 days early or late, never before the last one."""
        row = self.rows()[CHECK]
        on = row.target + timedelta(data.draw(st.integers(-200, 200)))
        last = max((done.on for done in self.facts.done), default=date.min)
        if on < last:
            return
        self.today = max(self.today, on)
        done = Done(*CHECK, on, data.draw(st.sampled_from([(), (), ("scalp",)])))
        for key, old, new in self.change(done=(*self.facts.done, done)):
            assert key in (CHECK, ("rest_of_skin_check", "patient"))
            if key != CHECK:
                continue
            by_attendance = "attendance" in (self.spacing(old), self.spacing(new) if new else None)
            assert on >= old.earliest or by_attendance or old.rule.startswith("override:")
        new = self.rows().get(CHECK)
        if new and self.spacing(new) == "anchored":
            assert new.earliest > on

    @rule(interval=st.sampled_from(["P1M", "P6M", "P2Y"]), ends=maybe(AGO))
    def another_interval(self, interval, ends):
        self.overridden(interval=interval, until=self.today + ends if ends is not None else None)

    @rule(ahead=AGO, ends=maybe(AGO))
    def another_date(self, ahead, ends):
        until = self.today + ends if ends is not None else None
        self.overridden(date=self.today + ahead, until=until)

    def overridden(self, **keys):
        reason = f"stated reason {len(self.facts.overrides)}."
        one = Override(str(len(self.facts.overrides)), *CHECK, reason, "Dr A", self.today, **keys)
        for key, _, new in self.change(overrides=(*self.facts.overrides, one)):
            assert key == CHECK
            stated = [why.text for why in new.reasons] if new else self.questions("what_follows")
            assert any(reason in text for text in stated)

    @rule(data=st.data(), ground=st.sampled_from(["declined", "discharge"]))
    @precondition(lambda self: self.rows())
    def closed(self, data, ground):
        key = data.draw(st.sampled_from(sorted(self.rows())))
        row = self.rows()[key]
        one = Closed(*key, row.rule, row.of, row.anchor, row.number, ground, self.today)
        others = self.rows_without(row.of).get(key) if key == CHECK else None
        moved = self.change(closed=(*self.facts.closed, one))
        assert {other for other, _, _ in moved} <= {key}
        if others:
            assert not is_later(self.rows()[key], others)

    def rows_without(self, of):
        """What the rest asks for: closing what one source wants takes nothing of it, of the same day or not."""
        kind, _, name = of.partition(":")
        if kind == "diagnosis":
            left = tuple(one for one in self.facts.diagnoses if one.id != name)
            return self.rows_of(replace(self.facts, diagnoses=left))
        if of == "patient":
            return self.rows_of(replace(self.facts, patient=replace(self.facts.patient, risk=None)))
        return {}


# LIVES=3000 python -m pytest tests/scheduling/rules -k a_life tries more than the suite does.
LIVES = int(os.environ.get("LIVES", "150"))


def lived(machine, lives):
    machine.TestCase.settings = settings(max_examples=lives, stateful_step_count=20, deadline=None)
    return machine.TestCase


test_a_life_of_follow_up = lived(FollowUp, LIVES * 2 // 3)


def test_assessing_again_before_the_first_check_moves_no_check():
    rules, first = SETS["default"], Risk("high", date(2024, 1, 31), date(2024, 1, 31))
    again = first.followed_by("high", date(2025, 1, 31))
    rows = [
        engine.plan(Facts(PatientFacts(risk=risk)), rules, date(2025, 2, 1)).due for risk in (first, again)
    ]
    before, after = ([due.latest for due in found if due.purpose == "full_skin_check"] for found in rows)
    assert after == before
