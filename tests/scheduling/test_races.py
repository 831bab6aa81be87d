"""Many at once: of fifty who book one place one gets it, and of two hundred who claim one patient one does."""

import os
import threading
from datetime import time, timedelta
from itertools import pairwise

import pytest
from django.conf import settings
from django.db import close_old_connections, connection

from clinic import clock
from clinic.models import AuditRecord
from scheduling.desk import booking, claims, places
from scheduling.models import Appointment, BookedCell, Claim, Recall, Resource
from tests import build
from tests.scheduling import scene

pytestmark = [pytest.mark.usefixtures("rules"), pytest.mark.django_db(transaction=True)]
POSTGRES = settings.DATABASES["default"]["ENGINE"].endswith("postgresql")
# SQLite has one writer: the others wait for their turn, and so fewer say as much in less time.
CROWD = 50 if POSTGRES else 16


def all_at_once(recalls, moment_of):
    """Each recall is booked by a thread of its own, at the moment that its number gives."""
    room, nurse, said, start = Resource.objects.get(), build.nurse(), [], threading.Barrier(len(recalls))

    def one(number, key):
        close_old_connections()
        # Whoever waits holds no connection: the pool has fewer than the crowd has threads.
        start.wait(60)
        with clock.at(scene.NOON):
            try:
                recall = Recall.objects.select_related("patient").get(pk=key)
                booking.book(recalls=[recall], resource=room, starts_at=moment_of(number), by=nurse)
                said.append("booked")
            except booking.SlotTaken:
                said.append("taken")
            finally:
                connection.close()

    threads = [threading.Thread(target=one, args=row) for row in enumerate(row.pk for row in recalls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return said


def test_of_fifty_at_one_place_one_gets_it_and_then_it_is_free_no_more():
    rows, room = [scene.due_check() for _ in range(CROWD)], scene.hours()
    said = all_at_once(rows, lambda _number: scene.at(14))
    assert sorted(said) == ["booked"] + ["taken"] * (CROWD - 1)
    assert BookedCell.objects.count() == 4 and Recall.objects.filter(state="booked").count() == 1
    free = places.free(since=scene.TODAY, until=scene.TODAY, minutes=20, limit=99, room=room.pk)
    assert scene.at(14) not in [one.starts_at for one in free] and len(free) == 13


def test_nobody_shares_five_minutes_and_nobody_is_half_booked():
    """Visits of twenty minutes that begin five minutes apart: whoever lost has neither cells nor an appointment."""
    rows = [scene.due_check() for _ in range(12)]
    scene.hours(closes=time(18))
    said = all_at_once(rows, lambda number: scene.at(14) + timedelta(minutes=5 * number))
    visits = Appointment.objects.order_by("starts_at")
    assert said.count("booked") == len(visits) == Recall.objects.filter(state="booked").count() >= 2
    for first, second in pairwise(visits):
        assert first.starts_at + timedelta(minutes=20) <= second.starts_at
    assert BookedCell.objects.count() == 4 * len(visits)


# CLAIMS=200 asks SQLite for as many as PostgreSQL always has (DEVELOPERS.md, Tests).
CLAIMS = int(os.environ.get("CLAIMS", 200 if POSTGRES else 40))


@pytest.mark.parametrize("people", [1, 20])
def test_of_two_hundred_who_claim_one_patient_one_gets_it(people):
    patients, members, said = (
        [build.patient() for _ in range(people)],
        [build.nurse() for _ in range(CLAIMS)],
        [],
    )
    start = threading.Barrier(CLAIMS)

    def one(number, member):
        close_old_connections()
        start.wait(60)
        with clock.at(scene.NOON):
            try:
                claims.claim(patient=patients[number % people], by=member)
                said.append("mine")
            except claims.ClaimedByOther:
                said.append("taken")
            finally:
                connection.close()

    threads = [threading.Thread(target=one, args=row) for row in enumerate(members)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(said) == ["mine"] * people + ["taken"] * (CLAIMS - people)
    won = Claim.objects.values_list("patient", "by")
    assert {key for key, _by in won} == {row.pk for row in patients} and len(
        {by for _key, by in won}
    ) == people
    assert AuditRecord.objects.filter(action="work.claim").count() == people
