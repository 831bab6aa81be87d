"""Duties: one opening, one proper end or a ground, by somebody who may. Clinic's own way: common practice, no source."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils.translation import trans_real

from clinic import clock
from clinic.access import NotAllowed
from clinic.duties import kinds, ledger, limits, outcomes, proposals, steps, wording
from clinic.duties.ledger import DutyRefused
from clinic.duties.telling import THE_PATIENT
from clinic.models import AuditRecord, Duty, StaleRow
from tests import build
from tests.test_language import MadeUp

pytestmark = pytest.mark.django_db


@pytest.fixture
def patient():
    return build.patient()


def opened(kind, patient, **more):
    return ledger.open_duty(kind, patient=patient, opened_from=patient, by=build.nurse(), **more)


def test_one_row_opens_a_duty_once(patient):
    assert opened("send_referral", patient) == opened("send_referral", patient)
    assert AuditRecord.objects.filter(action="duty.open").count() == 1


def test_the_limit_is_the_shipped_one_and_shorter_when_urgent(patient):
    assert opened("tell", patient).due_on == clock.today() + timedelta(days=28)
    other = ledger.open_duty("tell", patient=patient, opened_from=build.nurse(), by=None, urgent=True)
    assert other.due_on == clock.today() + timedelta(days=7)


def test_working_days_leave_out_the_weekend():
    friday = clock.today() + timedelta(days=(4 - clock.today().weekday()) % 7)
    assert limits.Limit(5, 2, working=True).due_on(friday, urgent=True) == friday + timedelta(days=4)


def test_what_a_duty_follows_from_is_a_code_said_in_the_readers_language(patient, nurse, monkeypatch):
    duty = opened("accept_referral", patient)
    steps.settle(duty=duty, by=nurse, revision=1, outcome="refused", words="No free place before May.")
    after = ledger.open_duties(patient).get()
    assert after.kind == "decide_what_follows"
    assert after.because == {"step": "accept_referral", "outcome": "refused"}
    assert after.note == "No free place before May."
    assert wording.say_step(after.because) == "accepted or refused elsewhere: refused."
    monkeypatch.setattr(trans_real._active, "value", MadeUp(), raising=False)
    assert wording.say_step(after.because) == "⟦⟦accepted or refused elsewhere⟧: ⟦refused⟧.⟧"


def test_a_settled_step_is_the_evidence_and_opens_the_next(patient, nurse):
    duty = opened("send_referral", patient)
    step = steps.settle(duty=duty, by=nurse, revision=1, outcome="sent", whom="the hospital")
    duty.refresh_from_db()
    assert (duty.evidence, duty.ended_by) == (f"clinic.step:{step.pk}", nurse)
    assert [row.kind for row in ledger.open_duties(patient)] == ["accept_referral"]


def test_the_whole_loop_of_a_referral_ends_with_a_reader(patient, nurse, doctor):
    duty, said = opened("send_referral", patient), {"whom": "the hospital", "words": "seen"}
    for outcome in ("sent", "accepted", "answered"):
        steps.settle(duty=duty, by=nurse, revision=duty.revision, outcome=outcome, **said)
        duty = ledger.open_duties(patient).get()
    with pytest.raises(NotAllowed):
        steps.settle(duty=duty, by=nurse, revision=duty.revision, outcome="read", words="seen")
    steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome="read", words="no more to do")
    assert not ledger.open_duties(patient).exists()


def test_a_refused_referral_comes_back_to_a_dermatologist_urgently(patient, nurse):
    duty = opened("accept_referral", patient)
    steps.settle(duty=duty, by=nurse, revision=1, outcome="refused", words="no room")
    back = ledger.open_duties(patient).get()
    assert (back.kind, back.urgent) == ("decide_what_follows", True)


@pytest.mark.parametrize("missing", ["told", "how", "words"])
def test_told_says_to_whom_how_and_what(patient, nurse, missing):
    said = {"told": THE_PATIENT, "how": "phone", "words": "the result and the next visit"} | {missing: ""}
    with pytest.raises(DutyRefused):
        steps.settle(duty=opened("tell", patient), by=nurse, revision=1, outcome="told", **said)
    assert Duty.objects.get().ended_at is None


def test_two_who_settle_at_once_are_one_too_many(patient, nurse):
    duty = opened("send_referral", patient)
    again = Duty.objects.get(pk=duty.pk)
    steps.settle(duty=duty, by=nurse, revision=1, outcome="sent", whom="the hospital")
    with pytest.raises(StaleRow):
        steps.settle(duty=again, by=nurse, revision=1, outcome="sent", whom="the hospital")


def test_a_nurse_cannot_end_a_duty_with_a_ground(patient, nurse):
    duty = opened("repeat_picture", patient)
    with pytest.raises(NotAllowed):
        ledger.end_with_ground(duty=duty, by=nurse, revision=1, ground="declined", note="she said no")


def test_an_error_needs_a_second_person(patient, doctor):
    duty = opened("repeat_picture", patient)
    with pytest.raises(DutyRefused, match="second person"):
        ledger.end_with_ground(duty=duty, by=doctor, revision=1, ground="error", note="wrong file")


def test_what_a_nurse_proposes_a_dermatologist_confirms(patient, nurse, doctor):
    duty = opened("repeat_picture", patient)
    asked = proposals.propose(
        "duty.end", patient=patient, subject=duty, by=nurse, reason="wrong file", ground="error"
    )
    assert list(ledger.open_duties(patient)) == [duty]
    proposals.confirm(proposal=asked, by=doctor, revision=asked.revision)
    duty.refresh_from_db()
    assert (duty.ground, duty.ended_by, duty.second) == ("error", doctor, nurse)


def test_what_the_only_dermatologist_proposes_a_nurse_confirms(patient, nurse, doctor):
    duty = opened("repeat_picture", patient)
    asked = proposals.propose(
        "duty.end", patient=patient, subject=duty, by=doctor, reason="wrong file", ground="error"
    )
    proposals.confirm(proposal=asked, by=nurse, revision=asked.revision)
    duty.refresh_from_db()
    assert duty.ended_at is not None


def test_two_nurses_end_nothing_between_them(patient, nurse):
    duty = opened("repeat_picture", patient)
    asked = proposals.propose(
        "duty.end", patient=patient, subject=duty, by=nurse, reason="wrong file", ground="error"
    )
    with pytest.raises(DutyRefused):
        proposals.confirm(proposal=asked, by=build.nurse(), revision=asked.revision)


def test_a_refusal_needs_a_word_and_the_proposer_sees_it(patient, nurse, doctor):
    asked = proposals.propose(
        "duty.end", patient=patient, subject=opened("repeat_picture", patient), by=nurse,
        reason="she said no", ground="declined",
    )  # fmt: skip
    with pytest.raises(DutyRefused, match="word"):
        proposals.refuse(proposal=asked, by=doctor, revision=asked.revision, answer=" ")
    proposals.refuse(proposal=asked, by=doctor, revision=asked.revision, answer="ask her once more")
    assert [row.answer for row in proposals.unread_answers(nurse)] == ["ask her once more"]


def test_a_struck_step_ends_nothing_and_stays_readable(patient, nurse):
    duty = opened("send_specimen", patient)
    step = steps.settle(duty=duty, by=nurse, revision=1, outcome="sent", whom="the laboratory")
    steps.strike(step=step, by=nurse)
    assert [row.kind for row in ledger.open_duties(patient)] == ["send_specimen"]
    assert duty.steps.get().struck.by == nurse


def test_only_who_ended_it_takes_it_back_and_within_ten_minutes(patient, nurse):
    duty = opened("send_specimen", patient)
    step = steps.settle(duty=duty, by=nurse, revision=1, outcome="sent", whom="the laboratory")
    with pytest.raises(DutyRefused, match="Only"):
        steps.strike(step=step, by=build.nurse())
    with clock.at(clock.now() + timedelta(minutes=11)), pytest.raises(DutyRefused, match="Ten minutes"):
        steps.strike(step=step, by=nurse)


def test_what_somebody_acted_on_is_not_taken_back(patient, nurse):
    duty = opened("send_specimen", patient)
    step = steps.settle(duty=duty, by=nurse, revision=1, outcome="sent", whom="the laboratory")
    following = ledger.open_duties(patient).get()
    steps.settle(duty=following, by=nurse, revision=1, outcome="received")
    with pytest.raises(DutyRefused, match="already acted"):
        steps.strike(step=step, by=nurse)


def test_the_database_refuses_an_end_without_evidence_or_ground(patient):
    duty = opened("send_specimen", patient)
    with pytest.raises(IntegrityError), transaction.atomic():
        Duty.objects.filter(pk=duty.pk).update(ended_at=clock.now())


def test_every_kind_of_the_ledger_can_be_ended_by_somebody():
    by_a_row_of_its_own = {"repeat_picture", "put_picture_right"}
    assert set(outcomes.OUTCOMES) | by_a_row_of_its_own == set(kinds.LEDGER)


def test_every_following_duty_is_a_kind_of_the_ledger():
    for kind, found in outcomes.OUTCOMES.items():
        for one in found:
            assert one.then in ("", *kinds.LEDGER), (kind, one.code)


def test_the_shipped_limits_name_every_kind_that_has_no_window():
    assert limits.check(limits.shipped()) == []
    assert "is missing" in limits.check(limits.shipped().replace("tell =", "# tell ="))[0]
