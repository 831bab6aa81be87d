"""Acts of the desk in the random lives: calls for everything that is due, worried callers, claims, another ladder."""

from datetime import time, timedelta

from hypothesis import strategies as st
from hypothesis.stateful import rule

from clinic import clock, policies
from clinic.models import Patient
from clinic.tally import kept_answers, tally
from lesions.models import Lesion, Sign
from scheduling.desk import calls, claims, confirming, ladder_change, worried
from scheduling.models import Appointment, AppointmentState, Call, DeskLine, Outcome, RecallState
from scheduling.planning import ladder
from scheduling.today import standing, worklists
from tests.scheduling import scene
from tests.scheduling.life_acts import ANY, WORDS, one_of

_ONCE = ladder.shipped().replace('routes = ["post", "phone", "phone"]', 'routes = ["phone"]')


class Desk:
    """The desk calls people, and Today stands at any moment as if it had been made anew."""

    @rule(which=ANY, who=ANY, outcome=st.sampled_from(Outcome.values), days=st.integers(0, 20), told=WORDS,
          booked=st.booleans())  # fmt: skip
    def somebody_is_called(self, which, who, outcome, days, told, booked):
        patient = one_of(Patient.objects.all(), which)
        again = self.now.date() + timedelta(days=days) if days else None
        son = outcome == Outcome.SPOKE_AUTHORISED
        who_spoke = {"spoke_to": "her son", "why": "a power of attorney"} if son else {}
        said = calls.Said(identity="address", told=told, next_on=again, **who_spoke)
        about = {"patient": patient, "by": self.by(who), "said": said, "outcome": outcome}
        self.try_to(self._call, booked=booked, **about)

    def _call(self, patient, booked, **about):
        recall = patient.recalls.filter(state=RecallState.DUE).first()
        book = None
        if booked and recall:
            day = clock.today() + timedelta(days=3)
            room = scene.hours(day=day, name=f"Room of a call {recall.pk} {recall.revision}", closes=time(18))
            book = calls.Booking([recall], room, scene.at(15, day=day), recall.revision)
        calls.log(patient=patient, route="phone", address="01 234", book=book, **about)

    @rule(which=ANY)
    def a_call_is_taken_back(self, which):
        call = one_of(Call.objects.select_related("by", "patient", "appointment").order_by("-pk"), which % 3)
        if call is not None:
            self.try_to(calls.take_back, call=call, by=call.by)

    @rule(which=ANY, who=ANY)
    def a_number_is_dialled(self, which, who):
        patient = one_of(Patient.objects.all(), which)
        self.try_to(calls.begin, patient=patient, by=self.by(who), route="phone", address="01 234")

    @rule(which=ANY, who=ANY, sign=st.sampled_from(Sign.values), known=st.booleans())
    def a_worried_patient_rings(self, which, who, sign, known):
        patient = one_of(Patient.objects.all(), which)
        lesion = one_of(Lesion.objects.filter(patient=patient), which) if known else None
        said = {"words": "it grows", "signs": [sign], "lesion": lesion}
        self.try_to(worried.note, patient=patient, by=self.by(who), **said)

    @rule(which=ANY, who=ANY, over=st.booleans())
    def somebody_is_claimed(self, which, who, over):
        patient, by = one_of(Patient.objects.all(), which), self.by(who)
        if over:
            self.try_to(claims.take_over, patient=patient, by=by, word="she rang me")
        else:
            self.try_to(claims.claim, patient=patient, by=by)

    @rule(which=ANY, who=ANY, undo=st.booleans())
    def an_appointment_is_confirmed(self, which, who, undo):
        visit = one_of(
            Appointment.objects.filter(state=AppointmentState.BOOKED).select_related("patient"), which
        )
        if visit is not None:
            self.try_to(confirming.confirm, appointment=visit, by=self.by(who), confirmed=not undo)

    @rule(who=ANY, other=ANY, once=st.booleans())
    def the_ladder_changes(self, who, other, once):
        by, second = self.doctors[who % len(self.doctors)], self.doctors[other % len(self.doctors)]
        self.try_to(self._change_ladder, text=_ONCE if once else ladder.shipped(), by=by, second=second)

    def _change_ladder(self, text, by, second):
        made = policies.draft(kind="ladder", toml=text, by=by)
        policy = policies.propose(policy=made, by=by, revision=made.revision)
        ladder_change.approve(policy=policy, by=second, revision=policy.revision)

    def the_masthead_keeps_no_old_number(self):
        """Asked right after an act and again after what follows from it, each time with the numbers of before kept."""
        found = tally.kept()
        assert not found.holds or _is_true(found)
        tally.keep()
        found = tally.kept()
        assert found.holds and _is_true(found)

    def today_stands_as_if_it_were_made_anew(self):
        with clock.at(self.now):
            worklists.bring_up_to_date()
            shown = {_said(line) for line in DeskLine.objects.filter(patient__isnull=False)}
            anew = {_said(line) for line in standing.lines_of(standing.owing(clock.now()))}
            assert shown == anew, (shown - anew, anew - shown)


def _said(line):
    names = ("patient_id", "day", "section", "urgency", "ends_on", "comes_on", "first", "duties", "tried")
    return tuple(getattr(line, name) for name in names)


def _is_true(found):
    """The numbers, and what was worked out beside them over all rows of a list, are as they would be asked now."""
    with clock.at(clock.now()):
        answers = {name: kept_answers.give(name, found) for name in kept_answers.ANSWERS}
        return found.numbers == tally.count() and all(
            kept == kept_answers.work_out(name) for name, kept in answers.items()
        )
