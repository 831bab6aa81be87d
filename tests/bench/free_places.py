"""Free places of a year: python -m tests.bench.free_places [rooms] [--database sqlite|URL].

A throw-away database with sessions on every working day of a year and a diary that is full for eight weeks, half full for
eight more and then has one place in ten taken. Asked for a whole year, a quarter, a week; for visits of 20 and of 45
minutes; milliseconds are processor time of this process, the median of calls after a first one.
"""

import argparse
import statistics
import tempfile
import time

from tests.bench.replanning import prepare
from tests.bench.table import load

CALLS = 9
FULL, HALF, TENTH = 56, 112, 10
A_DAY = 30  # places of twenty minutes, from eight to six


def invent(rooms):
    """The sessions and appointments of a year, in bulk: cells are no part of what is measured."""
    from datetime import UTC, datetime, timedelta
    from datetime import time as hour

    from clinic import clock
    from scheduling.models import Appointment, Resource, Session
    from tests import build

    by, today = build.nurse(), clock.today()
    patient, doctors = build.patient(by=by), [build.dermatologist() for _ in range(rooms)]
    places = [Resource.objects.create(name=f"Room {number}") for number in range(1, rooms + 1)]
    sessions, visits = [], []
    for ahead in range(1, 366):
        day = today + timedelta(ahead)
        if day.weekday() > 4:
            continue
        every = 1 if ahead <= FULL else 2 if ahead <= HALF else TENTH
        for room, doctor in zip(places, doctors, strict=True):
            sessions.append(Session(resource=room, clinician=doctor, day=day, opens=hour(8), closes=hour(18)))
            for index in range(0, A_DAY, every):
                at = datetime.combine(day, hour(8 + index // 3, index % 3 * 20), tzinfo=UTC)
                visits.append(
                    Appointment(
                        patient=patient, resource=room, clinician=doctor, starts_at=at, minutes=20, booked_by=by,
                        changed_by=by, changed_at=clock.now(),
                    )
                )  # fmt: skip
    Session.objects.bulk_create(sessions, batch_size=400)
    Appointment.objects.bulk_create(visits, batch_size=400)
    return len(sessions), len(visits)


def measure():
    from datetime import timedelta

    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from clinic import clock
    from scheduling.desk import places

    print(
        "| days | minutes | free | processor ms | ms by the wall | queries |\n|---|---|---|---|---|---|",
        flush=True,
    )
    for days, minutes in ((365, 20), (365, 45), (91, 20), (7, 20)):
        span = {"since": clock.today(), "until": clock.today() + timedelta(days), "minutes": minutes}
        with CaptureQueriesContext(connection) as asked:
            free = sum(len(hours.starts) for hours in places.free_hours(**span))
        took = []
        for _ in range(CALLS):
            worked, begun = time.process_time(), time.perf_counter()
            places.free_hours(**span)
            took.append((1000 * (time.process_time() - worked), 1000 * (time.perf_counter() - begun)))
        worked, wall = (statistics.median(of) for of in zip(*took, strict=True))
        print(f"| {days} | {minutes} | {free} | {worked:.0f} | {wall:.0f} | {len(asked)} |", flush=True)


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("rooms", nargs="?", type=int, default=6)
    asked.add_argument("--database", default="sqlite")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="places-") as folder:
        connection = prepare(asked.database, folder)
        try:
            sessions, visits = invent(asked.rooms)
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
            print(f"{asked.rooms} rooms, {sessions} sessions, {visits} appointments, {connection.vendor}\n")
            measure()
            load()
        finally:
            connection.creation.destroy_test_db("bench", verbosity=0)


if __name__ == "__main__":
    main()
