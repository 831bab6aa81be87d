"""Random lives over the whole program: after every act, each duty is held by its list or has ended with a word.

A clinic of one or of three dermatologists does whatever its members try, in any order; what the program refuses changes
nothing. After every act the plans are brought up to date, and the independent count, which shares no code with the lists,
must find no duty that no list holds. Our own rule (common practice, no source).
"""

import os
from collections import Counter
from contextlib import suppress
from datetime import time, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from hypothesis.stateful import run_state_machine_as_test as live

from clinic import clock
from clinic.access import Act, may
from clinic.duties import ledger, proposals, steps
from clinic.duties.kinds import KINDS
from clinic.duties.outcomes import act_of, outcomes_of
from clinic.duties.telling import THE_PATIENT, WhoWasTold
from clinic.models import Patient, StaleRow
from clinic.people import ending, leave, visits
from clinic.people.longer_waits import MakesLonger
from lesions.looking import queue
from lesions.measuring import measure
from lesions.models import (
    Decision,
    Diagnosis,
    Lesion,
    LesionState,
    Monitoring,
    Procedure,
    Review,
    Sign,
    SignOff,
)
from lesions.register import register
from lesions.results import pathology
from lesions.review import signoff, taking_back
from scheduling.counting import duty_count, whereabouts
from scheduling.desk import bookable, booking, contacts
from scheduling.desk import taking_back as desk_taking_back
from scheduling.diary import sessions
from scheduling.models import (
    OPEN,
    Appointment,
    AppointmentState,
    ClosureDay,
    Ground,
    Outcome,
    Recall,
    Session,
)
from scheduling.planning import replan
from scheduling.recalls import closing, overrides
from scheduling.today import worklists
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene
from tests.scheduling.life_acts import (
    ANY,
    WORDS,
    Errors,
    Pictures,
    Readers,
    Rules,
    Workers,
    measure_each_picture_once,
    one_of,
)
from tests.scheduling.life_calls import Desk
from tests.scheduling.life_merges import Records

pytestmark = pytest.mark.django_db
# LIVES=10000 python -m pytest tests/scheduling/test_lives.py tries more than the suite does.
LIVES = int(os.environ.get("LIVES", "12"))
STEPS = 25
# What the program says where somebody may not, or where the act makes no sense.
_REFUSED = (ValueError, PermissionDenied, StaleRow, MakesLonger)
# How often each act was done and not refused, for whoever reads what the lives did.
DONE: Counter[str] = Counter()


class Clinic(Desk, Pictures, Readers, Records, Workers, Errors, Rules, RuleBasedStateMachine):
    """Two nurses, one or three dermatologists, a manager, and whoever comes."""

    def __init__(self):
        super().__init__()
        self.block = transaction.atomic()
        self.block.__enter__()
        self.now = scene.NOON
        self.changed = True

    def teardown(self):
        transaction.set_rollback(True)
        self.block.__exit__(None, None, None)

    @initialize(dermatologists=st.sampled_from([1, 3]))
    def open_the_clinic(self, dermatologists):
        build.rules_in_force()
        self.doctors = [build.dermatologist() for _ in range(dermatologists)]
        self.members, self.manager = [build.nurse(), build.nurse(), *self.doctors], build.manager()
        self.administrator = build.administrator()
        with clock.at(self.now):
            scene.due_check()
            pictures.lesion(monitoring="short")
            self.come_into_line()

    # ---- what happens after every act ---------------------------------------------------------

    def come_into_line(self):
        """Unless the worker that plans is lost; then lists and counts must hold with the plans of before."""
        self.changed = True
        self.the_masthead_keeps_no_old_number()
        if not self.plans_stand_still:
            replan.replan_many(list(replan.patients_to_replan()))
        closing.become_due(clock.today())
        worklists.bring_up_to_date()

    def try_to(self, act, **fields):
        """Do it, or be refused without a trace: then all stands as it was looked at before."""
        with clock.at(self.now):
            with suppress(*_REFUSED), transaction.atomic():
                act(**fields)
                DONE[getattr(act, "__name__", "")] += 1
                self.changed = True
            if self.changed:
                self.come_into_line()

    def by(self, who):
        return self.members[who % len(self.members)]

    # ---- the patient and the lesion -----------------------------------------------------------

    @rule(monitoring=st.sampled_from([None, *Monitoring.values]), whose=ANY)
    def a_lesion_is_registered(self, monitoring, whose):
        patient = one_of(Patient.objects.all(), whose)
        self.try_to(lambda: pictures.lesion(patient, monitoring=monitoring))

    @rule(sign=st.sampled_from(Sign.values), which=ANY, who=ANY)
    def a_sign_is_noted(self, sign, which, who):
        lesion = one_of(Lesion.objects.all(), which)
        self.try_to(register.note_sign, lesion=lesion, by=self.by(who), sign=sign)

    @rule(which=ANY, who=ANY)
    def somebody_examines(self, which, who):
        lesion = one_of(Lesion.objects.all(), which)
        self.try_to(register.examine_in_person, lesion=lesion, by=self.by(who), outcome="looked at")

    @rule(
        which=ANY,
        who=ANY,
        state=st.sampled_from([None, *LesionState.values]),
        monitoring=st.sampled_from(["", *Monitoring.values]),
        reason=WORDS,
    )
    def a_lesion_is_amended(self, which, who, state, monitoring, reason):
        lesion = one_of(Lesion.objects.select_related("patient"), which)
        fields = {"state": state or lesion.state, "monitoring": monitoring, "reason": reason}
        self.try_to(
            register.amend_or_propose, lesion=lesion, by=self.by(who), revision=lesion.revision, **fields
        )

    @rule(which=ANY, who=ANY, decision=st.sampled_from(Decision.values), months=st.integers(1, 24))
    def a_decision_is_signed(self, which, who, decision, months):
        lesion = one_of(Lesion.objects.select_related("patient"), which)
        months = months if decision == Decision.LOOK_AGAIN else None
        fields = {"decision": decision, "months": months}
        by = self.doctors[who % len(self.doctors)]
        self.try_to(signoff.decide_in_person, lesion=lesion, by=by, **fields)

    @rule(which=ANY, who=ANY)
    def a_signature_is_taken_back(self, which, who):
        signed = one_of(SignOff.objects.select_related("lesion__patient", "by"), -1 - which)
        if signed is not None:
            self.try_to(taking_back.take_back, signed=signed, by=signed.by)

    @rule(which=ANY, who=ANY, kind=st.sampled_from(["biopsy", "excision", "other"]))
    def a_procedure_is_done(self, which, who, kind):
        lesion = one_of(Lesion.objects.select_related("patient"), which)
        said = {"patient": lesion.patient, "lesion": lesion, "kind": kind, "on": self.now.date()}
        self.try_to(pathology.record_procedure, by=self.by(who), **said)

    @rule(which=ANY, who=ANY, code=st.sampled_from(["melanoma", "bcc", "benign"]), told=st.booleans())
    def a_report_comes(self, which, who, code, told):
        cut = one_of(Procedure.objects.select_related("patient"), which)
        if cut is not None:
            said = {"patient": cut.patient, "procedure": cut, "code": code, "reported_on": self.now.date()}
            by = self.doctors[who % len(self.doctors)]
            self.try_to(pathology.record_diagnosis, by=by, **said)

    @rule(which=ANY, who=ANY, code=st.sampled_from(["melanoma", "bcc", "benign"]), corrected=st.booleans())
    def a_report_is_amended(self, which, who, code, corrected):
        row = one_of(Diagnosis.objects.select_related("patient"), which)
        if row is not None:
            said = {"code": code, "corrected": corrected, "why": "a second look", "revision": row.revision}
            by = self.doctors[who % len(self.doctors)]
            self.try_to(pathology.amend_diagnosis, diagnosis=row, by=by, **said)

    # ---- visits, calls, bookings ----------------------------------------------------------------

    @rule(which=ANY, who=ANY, take_back=st.booleans())
    def what_was_due_is_ticked(self, which, who, take_back):
        recall = one_of(Recall.objects.filter(state__in=OPEN).select_related("patient"), which)
        if recall is not None:
            self.try_to(self._tick, recall=recall, by=self.by(who), take_back=take_back)

    def _tick(self, recall, by, take_back):
        done = [(recall.purpose, recall.subject)]
        visit = visits.record(patient=recall.patient, by=by, attended_on=clock.today(), done=done)
        self.come_into_line()
        if take_back:
            visits.take_back(visit=visit, by=by, revision=visit.revision)

    @rule(which=ANY, who=ANY, outcome=st.sampled_from(Outcome.values), days=st.integers(0, 100))
    def somebody_rings(self, which, who, outcome, days):
        recall = one_of(Recall.objects.filter(state__in=OPEN).select_related("patient"), which)
        if recall is not None:
            again = self.now.date() + timedelta(days=days) if days else None
            route = {"route": "phone", "address": "01 234", "outcome": outcome, "next_on": again}
            self.try_to(contacts.log_attempt, recall=recall, by=self.by(who), **route)

    @rule(which=ANY, who=ANY, days=st.integers(1, 60), hour=st.integers(9, 16))
    def it_is_booked(self, which, who, days, hour):
        recall = one_of(Recall.objects.filter(state__in=OPEN).select_related("patient"), which)
        if recall is not None:
            self.try_to(self._book, recall=recall, by=self.by(who), days=days, hour=hour)

    @rule(which=ANY, who=ANY, days=st.integers(1, 60), how=st.sampled_from(["call", "elsewhere", "here"]))
    def it_is_booked_otherwise(self, which, who, days, how):
        recall = one_of(Recall.objects.filter(state__in=OPEN).select_related("patient"), which)
        if recall is None:
            return
        about = {"recalls": [recall], "by": self.by(who), "revision": recall.revision}
        starts_at = scene.at(10, day=self.now.date() + timedelta(days=days))
        if how == "here":
            self.try_to(booking.walk_in, **about)
        elif how == "elsewhere":
            self.try_to(booking.book_elsewhere, where="elsewhere", starts_at=starts_at, **about)
        else:
            diary = {"resource": booking.elsewhere("elsewhere"), "starts_at": starts_at}
            self.try_to(booking.book_by_call, route="phone", address="1", **diary, **about)

    @rule(which=ANY, who=ANY)
    def somebody_is_here_already(self, which, who):
        visit = one_of(Appointment.objects.filter(state=AppointmentState.BOOKED), which)
        if visit is not None:
            self.try_to(booking.here_already, appointment=visit, by=self.by(who), revision=visit.revision)

    def _book(self, recall, by, days, hour):
        day = clock.today() + timedelta(days=days)
        room = scene.hours(day=day, name=f"Room {day} {recall.pk}", closes=time(18))
        room.sessions.update(clinician=self.doctors[0])
        booking.book(recalls=[recall], resource=room, starts_at=scene.at(hour, day=day), by=by)

    @rule(
        which=ANY,
        who=ANY,
        how=st.sampled_from(["attended", "missed", "not_brought", "patient", "clinic"]),
        did=st.booleans(),
    )
    def an_appointment_ends(self, which, who, how, did):
        visit = one_of(Appointment.objects.filter(state=AppointmentState.BOOKED), which)
        if visit is None:
            return
        about = {"appointment": visit, "by": self.by(who), "revision": visit.revision}
        done = [(row.purpose, row.subject) for row in visit.recalls.all()] if did else []
        if how == "attended":
            self.try_to(booking.record_attended, done=done, **about)
        elif how in ("missed", "not_brought"):
            self.try_to(booking.record_missed, not_brought=how == "not_brought", **about)
        else:
            self.try_to(booking.cancel, whose=how, **about)

    @rule(days=st.integers(1, 60), who=ANY)
    def a_day_is_closed(self, days, who):
        day = self.now.date() + timedelta(days=days)
        self.try_to(bookable.close_day, day=day, reason="a holiday", by=self.by(who))

    @rule(which=ANY, who=ANY)
    def a_closed_day_is_opened(self, which, who):
        closed = one_of(ClosureDay.objects.all(), which)
        if closed is not None:
            self.try_to(bookable.open_day, closed=closed, by=self.by(who))

    @rule(who=ANY, days=st.integers(0, 30), length=st.integers(0, 20))
    def somebody_is_away(self, who, days, length):
        first = self.now.date() + timedelta(days=days)
        span = {"first_day": first, "last_day": first + timedelta(days=length)}
        by = self.by(who)
        self.try_to(leave.note, member=by, by=by, all_the_same=True, **span)

    @rule(which=ANY)
    def somebody_is_there_after_all(self, which):
        row = one_of(leave.in_force(), which)
        if row is not None:
            self.try_to(leave.withdraw, leave=row, by=row.member, revision=row.revision)

    @rule(which=ANY)
    def a_session_is_removed(self, which):
        row = one_of(Session.objects.select_related("resource"), which)
        if row is not None:
            self.try_to(sessions.remove, session=row, by=self.manager)

    @rule(which=ANY, who=ANY)
    def an_entry_of_the_desk_is_taken_back(self, which, who):
        visit = one_of(Appointment.objects.select_related("patient"), -1 - which)
        if visit is not None:
            about = {"appointment": visit, "by": self.by(who), "revision": visit.revision}
            self.try_to(desk_taking_back.take_back, **about)

    @rule(which=ANY, who=ANY, days=st.integers(1, 60))
    def an_appointment_is_moved(self, which, who, days):
        visit = one_of(Appointment.objects.filter(state=AppointmentState.BOOKED), which)
        if visit is not None:
            self.try_to(self._move, visit=visit, by=self.by(who), days=days)

    def _move(self, visit, by, days):
        day = clock.today() + timedelta(days=days)
        room = scene.hours(day=day, name=f"Other room {day} {visit.pk}", closes=time(18))
        starts_at = scene.at(11, day=day)
        booking.move(appointment=visit, resource=room, starts_at=starts_at, by=by, revision=visit.revision)

    # ---- duties, proposals, the end of care --------------------------------------------------------

    @rule(which=ANY, who=ANY, how=ANY, whom=WORDS, words=WORDS)
    def a_duty_is_settled(self, which, who, how, whom, words):
        duty = one_of(ledger.open_duties(), which)
        outcome = one_of(outcomes_of(duty.kind), how) if duty else None
        if outcome is not None:
            said = {"outcome": outcome.code, "whom": whom, "how": "phone", "words": words}
            if duty.kind == "tell":
                # Somebody else is named with a word why, and without one nobody else is told.
                patient = THE_PATIENT if outcome.code == "told" else WhoWasTold()
                said["told"] = WhoWasTold("other", why=words) if whom else patient
            self.try_to(steps.settle, duty=duty, by=self.by(who), revision=duty.revision, **said)

    @rule(which=ANY, who=ANY, ground=st.sampled_from(["declined", "error", "decided"]), note=WORDS)
    def a_duty_is_ended_with_a_ground(self, which, who, ground, note):
        duty = one_of(ledger.open_duties(), which)
        if duty is not None:
            said = {"ground": ground, "note": note}
            self.try_to(ledger.end_with_ground, duty=duty, by=self.by(who), revision=duty.revision, **said)

    @rule(which=ANY, who=ANY, confirmed=st.booleans(), answer=WORDS)
    def a_proposal_is_answered(self, which, who, confirmed, answer):
        asked = one_of(proposals.waiting(), which)
        if asked is not None:
            act = proposals.confirm if confirmed else proposals.refuse
            self.try_to(act, proposal=asked, by=self.by(who), revision=asked.revision, answer=answer)

    @rule(which=ANY, who=ANY, ground=st.sampled_from(Ground.values), note=WORDS, only_propose=st.booleans())
    def a_recall_is_closed(self, which, who, ground, note, only_propose):
        recall = one_of(Recall.objects.filter(state__in=OPEN).select_related("patient"), which)
        if recall is not None:
            act = closing.propose_closing if only_propose else closing.close
            said = {"ground": ground, "note": note, "revision": recall.revision}
            self.try_to(act, recall=recall, by=self.by(who), **said)

    @rule(which=ANY, who=ANY, status=st.sampled_from(sorted(ending.GROUND_OF)))
    def care_ends(self, which, who, status):
        patient = one_of(Patient.objects.all(), which)
        said = {"status": status, "on": self.now.date(), "ground": "a letter"}
        by = self.by(who)
        if may(by, Act.END_CARE):
            self.try_to(ending.end_care, patient=patient, by=by, revision=patient.revision, **said)
        else:
            self.try_to(ending.propose, patient=patient, by=by, **said)

    @rule(which=ANY, who=ANY)
    def care_is_resumed(self, which, who):
        patient = one_of(Patient.objects.exclude(status="active"), which)
        if patient is not None:
            self.try_to(ending.resume_care, patient=patient, by=self.by(who), revision=patient.revision)

    @rule(which=ANY, who=ANY, months=st.sampled_from(["P1M", "P6M", "P18M"]))
    def an_own_interval_is_set(self, which, who, months):
        patient = one_of(Patient.objects.all(), which)
        said = {"purpose": "full_skin_check", "subject": "patient", "interval": months, "reason": "asked for"}
        by = self.by(who)
        self.try_to(
            overrides.set_interval,
            patient=patient,
            by=by,
            revision=patient.facts_revision,
            accepted=True,
            **said,
        )

    # ---- time -----------------------------------------------------------------------------------------

    @rule(days=st.integers(1, 120))
    def time_passes(self, days):
        """No worker stays away for days: the sweep finds what was lost."""
        self.now += timedelta(days=days)
        with clock.at(self.now):
            self.plans_stand_still = False
            self.sweep()
            self.come_into_line()
            worklists.build(clock.today())
            assert not measure.waiting() and not replan.patients_to_replan()

    # ---- what always holds ------------------------------------------------------------------------------

    @invariant()
    def all_of_it_holds(self):
        """After whatever changed something: what was refused left no trace, so it is as it was looked at before."""
        if self.changed:
            self.changed = False
            with clock.at(self.now):
                self.the_masthead_keeps_no_old_number()
            self.today_stands_as_if_it_were_made_anew()
            self.no_duty_is_held_by_no_list()
            self.every_duty_has_a_day_and_somebody_who_may_end_it()
            self.every_proposal_has_somebody_who_may_answer()
            self.every_review_stands_in_the_list_of_a_dermatologist()
            self.a_sign_stands_in_decisions_until_somebody_has_looked()

    def no_duty_is_held_by_no_list(self):
        with clock.at(self.now):
            lost = duty_count.lost_now()
            assert lost == [], [(row.code, str(row.words), row.lost) for row in lost]
            assert whereabouts.count_now().holds

    def every_duty_has_a_day_and_somebody_who_may_end_it(self):
        for duty in ledger.open_duties():
            acts = {KINDS[duty.kind].may_end, *(act_of(duty.kind, one) for one in outcomes_of(duty.kind))}
            assert any(may(member, act) for member in self.members for act in acts), duty.kind

    def every_proposal_has_somebody_who_may_answer(self):
        for asked in proposals.waiting():
            others = [member for member in self.members if proposals.may_answer(asked, member)]
            assert others or may(asked.proposed_by, Act.ANSWER_PROPOSALS), asked.act

    def every_review_stands_in_the_list_of_a_dermatologist(self):
        with clock.at(self.now):
            lists = [*map(queue.decisions_of, self.doctors), queue.unflagged()]
            read = {key for rows in lists for key in _keys(rows)}
            assert read == _keys(Review.objects.filter(state="waiting"))

    def a_sign_stands_in_decisions_until_somebody_has_looked(self):
        shown = set(register.without_picture().values_list("pk", flat=True))
        for sign in register.examinations_wanted():
            waits = sign.lesion and sign.lesion.reviews.filter(state="waiting", flagged=True).exists()
            assert waits or sign.pk in shown


def _keys(rows):
    """Without the order, which costs more than all else and says nothing here."""
    return set(rows.order_by().values_list("pk", flat=True))


def test_no_life_loses_a_duty(monkeypatch):
    measure_each_picture_once(monkeypatch)
    DONE.clear()
    live(
        Clinic,
        settings=settings(
            max_examples=LIVES,
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
    assert len(DONE) > 10, DONE
