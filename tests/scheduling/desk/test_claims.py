"""Claims: of one person at a time, for every act of the desk, taken over with a word, handed back when idle."""

import pytest

from clinic.models import AuditRecord
from scheduling.desk import booking, claims, contacts
from scheduling.models import Claim
from scheduling.today import worklists
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def test_a_claim_is_of_one_person():
    patient, first, second = scene.due_check().patient, build.nurse(name="First"), build.nurse()
    claims.claim(patient=patient, by=first)
    with pytest.raises(claims.ClaimedByOther) as refused:
        claims.claim(patient=patient, by=second)
    assert f"{patient} is with First now." in refused.value.say()
    assert claims.claim(patient=patient, by=first).by == first
    assert AuditRecord.objects.filter(action="work.claim").count() == 1


def test_a_claim_holds_for_calls_and_bookings_too():
    recall, other = scene.due_check(), build.nurse()
    room = scene.hours()
    claims.claim(patient=recall.patient, by=build.nurse())
    with pytest.raises(claims.ClaimedByOther):
        contacts.log_attempt(recall=recall, by=other, route="phone", address="000", outcome="no_answer")
    with pytest.raises(claims.ClaimedByOther):
        booking.book(recalls=[recall], resource=room, starts_at=scene.at(14), by=other)


def test_taking_over_needs_a_word_that_the_other_one_reads():
    patient, first, second = scene.due_check().patient, build.nurse(), build.nurse(name="Second")
    claims.claim(patient=patient, by=first)
    with pytest.raises(claims.ClaimRefused):
        claims.take_over(patient=patient, by=second, word="  ")
    claims.take_over(patient=patient, by=second, word="she rang back on my line")
    with pytest.raises(claims.ClaimedByOther) as refused:
        claims.hold(patient, first)
    assert "with Second now. Taken over: she rang back on my line" in refused.value.say()


def test_what_is_handed_back_is_free():
    patient, first = scene.due_check().patient, build.nurse()
    claims.claim(patient=patient, by=first)
    assert not claims.hand_back(patient=patient, by=build.nurse()), "nobody hands back what another has"
    assert claims.hand_back(patient=patient, by=first)
    assert claims.claim(patient=patient, by=build.nurse())


@pytest.mark.parametrize(("minutes", "free"), [(29, 0), (31, 1)])
def test_an_idle_claim_is_released_after_half_an_hour(minutes, free):
    """Half an hour: clinic setting, no source."""
    patient = scene.due_check().patient
    claims.claim(patient=patient, by=build.nurse())
    with scene.later(minutes=minutes):
        assert (claims.holder_of(patient) is None) == bool(free), (
            "it holds nobody off before the worker comes"
        )
        assert sum(claims.release(pk) for pk in claims.idle()) == free
    assert Claim.objects.filter(by=None).count() == free


def test_an_act_of_the_holder_keeps_the_claim_alive():
    recall, nurse = scene.due_check(), build.nurse()
    claims.claim(patient=recall.patient, by=nurse)
    with scene.later(minutes=20):
        claims.hold(recall.patient, nurse)
    with scene.later(minutes=40):
        assert claims.idle() == []


def test_the_next_is_who_nobody_has_in_the_order_of_the_list():
    late, near = scene.overdue_check(), scene.due_check()
    first, second = build.nurse(), build.nurse()
    worklists.bring_up_to_date()
    assert claims.next_to_phone(first) == late.patient
    assert claims.next_to_phone(second) == near.patient
    assert claims.next_to_phone(second, after=near.patient_id) is None
