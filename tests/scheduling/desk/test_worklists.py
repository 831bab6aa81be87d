"""The day's list: order, claims, and what comes back to it.

The order and who may claim: clinic setting, no source.
"""

import threading
from datetime import date, timedelta

import pytest
from django.conf import settings
from django.db import close_old_connections, connection

from clinic import clock
from clinic.models import AuditRecord, StaleRow
from lesions.register import register as lesions
from scheduling import tasks
from scheduling.desk import contacts, worklists
from scheduling.models import Recall, WorkItem
from scheduling.planning import replan
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def on_the_list():
    return [item.recall for item in worklists.items_of(scene.TODAY)]


def item_of(recall):
    worklists.build(scene.TODAY)
    return WorkItem.objects.get(recall=recall)


def test_urgency_first_then_the_nearest_end_then_risk():
    near, far = scene.due_check(), scene.check_of(scene.melanoma(date(2026, 3, 20)))
    riskier = scene.melanoma(date(2026, 3, 20))
    build.risk_assessment(riskier, on=scene.TODAY, gene_carrier=True)
    riskier = scene.check_of(riskier)
    urgent = build.patient()
    build.risk_assessment(urgent)
    lesions.note_sign(lesion=scene.mark(urgent), by=build.nurse(), sign="growing")
    replan.replan_patient(urgent.pk)
    assert worklists.build(scene.TODAY) == 4
    assert on_the_list() == [Recall.objects.get(patient=urgent, urgency="A"), near, riskier, far]


def test_building_twice_adds_nothing():
    scene.due_check()
    assert (worklists.build(scene.TODAY), worklists.build(scene.TODAY)) == (1, 0)


def test_who_becomes_due_in_the_day_is_on_its_list():
    worklists.build(scene.TODAY)
    patient = scene.melanoma(date(2026, 3, 15))
    tasks.replan_and_list(patient.pk)
    assert [recall.patient for recall in on_the_list()] == [patient]


def test_a_claim_is_of_one_person():
    item, first, second = item_of(scene.due_check()), build.nurse(name="First"), build.nurse()
    seen_by_both = WorkItem.objects.get(pk=item.pk)
    worklists.claim(item=item, by=first)
    with pytest.raises(worklists.AlreadyClaimed) as refused:
        worklists.claim(item=seen_by_both, by=second)
    assert "full skin check was claimed by First" in refused.value.say()
    assert worklists.claim(item=seen_by_both, by=first).claimed_by == first
    assert AuditRecord.objects.filter(action="work.claim").count() == 1


def test_what_is_handed_back_is_free_and_says_so():
    item = item_of(scene.due_check())
    worklists.claim(item=item, by=build.nurse())
    worklists.hand_back(item=item, by=build.nurse())
    assert (item.state, item.claimed_by) == ("handed_back", None)
    worklists.claim(item=item, by=build.nurse())


def test_finished_work_cannot_be_claimed():
    item = item_of(scene.due_check())
    worklists.finish(item=item, by=build.nurse())
    with pytest.raises(StaleRow):
        worklists.claim(item=item, by=build.nurse())


@pytest.mark.parametrize(("minutes", "free"), [(29, 0), (31, 1)])
def test_an_idle_claim_is_released_after_half_an_hour(minutes, free):
    """Half an hour: clinic setting, no source."""
    worklists.claim(item=item_of(scene.due_check()), by=build.nurse())
    with scene.later(minutes=minutes):
        assert sum(worklists.release(pk) for pk in worklists.idle()) == free


def test_booked_work_is_off_the_list():
    recall = scene.due_check()
    item = item_of(recall)
    scene.booked(recall)
    item.refresh_from_db()
    assert item.state == "done" and on_the_list() == []


def test_who_asks_to_be_called_later_comes_back_on_that_day():
    recall = scene.due_check()
    item_of(recall)
    friday = scene.TODAY + timedelta(days=2)
    contacts.log_attempt(
        recall=recall, by=build.nurse(), route="phone", address="000", outcome="asks_later", next_on=friday
    )
    assert on_the_list() == []
    assert list(worklists.to_reach(friday - timedelta(days=1))) == []
    assert list(worklists.to_reach(friday)) == [recall]


SERVICES = settings.DATABASES["default"]["ENGINE"].endswith("postgresql")


@pytest.mark.django_db(transaction=True)
def test_of_many_who_claim_at_once_one_gets_it():
    crowd = 20 if SERVICES else 4
    item = item_of(scene.due_check())
    nurses = [build.nurse() for _ in range(crowd)]
    outcomes, start = [], threading.Barrier(crowd)

    def one(nurse):
        close_old_connections()
        with clock.at(scene.NOON):
            start.wait()
            try:
                worklists.claim(item=WorkItem.objects.get(pk=item.pk), by=nurse)
                outcomes.append("mine")
            except worklists.AlreadyClaimed:
                outcomes.append("taken")
            finally:
                connection.close()

    threads = [threading.Thread(target=one, args=[nurse]) for nurse in nurses]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["mine"] + ["taken"] * (crowd - 1)
