"""Stored patients planned anew: python -m tests.bench.replanning [patients ...] [--database sqlite|URL] [--alone] [--queries].

Builds invented patients in a throw-away database (a file of its own, or `test_...` beside the named PostgreSQL
database), brings the shipped rule set into force and replans everybody, as `manage.py replan` does: facts read in
portions, one transaction each. `--alone` reads each patient alone, as the background does when the sweep asks for them.
Each size runs twice: the first plans, and again after every patient's facts have moved. Seconds are by the wall;
processor seconds are this process's own and say more on a machine with other work.
"""

import argparse
import os
import random
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

WIDTH = 30
CODES = ("melanoma", "melanoma_in_situ", "bcc", "scc")
TIERS = ("above_average", "high", "very_high")
BATCH = 2000


def prepare(database, folder, keep=False):
    """Settings read the environment, so it is set before Django starts; `keep` goes on with what an earlier run built."""
    os.environ["DATA_DIR"] = folder
    os.environ.pop("DATABASE_URL", None)
    if database != "sqlite":
        os.environ["DATABASE_URL"] = database
    os.environ.setdefault("SECRET_KEY", "only for this throw-away database " * 2)
    os.environ.setdefault("ALLOWED_HOSTS", "localhost")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.project.settings")
    import django
    from django.db import connection

    django.setup()
    if database == "sqlite":
        connection.settings_dict.setdefault("TEST", {})["NAME"] = str(Path(folder) / "bench.sqlite3")
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False, keepdb=keep)
    return connection


def people(count, first, today, random_):
    from clinic import clock
    from clinic.models import Patient
    from clinic.people import finding

    return Patient.objects.bulk_create(
        Patient(
            number=f"B{first + index}", given_name="Invented", family_name=f"Person {first + index}",
            born=today - timedelta(random_.randrange(20 * 365, 90 * 365)), changed_at=clock.now(),
            **finding.folded("Invented", f"Person {first + index}"),
        )
        for index in range(count)
    )  # fmt: skip


def risks(patients, today, random_, by):
    from clinic import clock, policies
    from clinic.models import RiskAssessment
    from tests import build

    tiers = policies.in_force("tiers") or build.tiers_in_force()
    RiskAssessment.objects.bulk_create(
        RiskAssessment(
            patient=patient, by=by, assessed_on=today - timedelta(random_.randrange(400)), naevi="41-100",
            atypical="1-5", phototype="II", tier=random_.choice(TIERS), policy=tiers, changed_at=clock.now(),
        )
        for patient in patients
    )  # fmt: skip


def tumours(patients, today, random_, by):
    """Half of the patients have had one, of any age up to six years; visits follow every half year."""
    from clinic import clock
    from clinic.models import DoneItem, Visit
    from lesions.models import Diagnosis

    rows, visits = [], []
    for patient in random_.sample(patients, len(patients) // 2):
        ago, code = random_.randrange(30, 2200), random_.choice(CODES)
        scc = {"risk_scheme": "S3", "risk_class": "low"} if code == "scc" else {}
        thick = {"thickness": "0.9", "ulceration": False, "n": "N0", "m": "M0"} if code == "melanoma" else {}
        day = today - timedelta(ago)
        rows.append(
            Diagnosis(
                patient=patient, code=code, anchor=day, reported_on=day, by=by, changed_at=clock.now(), **scc, **thick
            )
        )  # fmt: skip
        visits += [
            Visit(patient=patient, attended_on=today - timedelta(gone), by=by, changed_at=clock.now())
            for gone in range(ago - 90, 0, -180)
        ]
    Diagnosis.objects.bulk_create(rows)
    DoneItem.objects.bulk_create(
        DoneItem(visit=visit, purpose="full_skin_check") for visit in Visit.objects.bulk_create(visits)
    )


def lesions(patients, today, random_, _by):
    from clinic import clock
    from lesions.models import Lesion

    Lesion.objects.bulk_create(
        Lesion(
            patient=patient, label=1, site="66643007", side="midline", view="back", x=500, y=300, changed_at=clock.now(),
            monitoring=random_.choice(["short", "long"]), since=today - timedelta(random_.randrange(400)),
        )
        for patient in random_.sample(patients, len(patients) // 3)
    )  # fmt: skip


def invent(count, first, by):
    """Facts in bulk: not the road of the pages, whose audit is no part of what is measured."""
    from clinic import clock

    random_, today = random.Random(first), clock.today()
    for start in range(0, count, BATCH):
        patients = people(min(BATCH, count - start), first + start, today, random_)
        for fill in (risks, tumours, lesions):
            fill(patients, today, random_, by)


def progress(done, of):
    if sys.stderr.isatty() or done == of or done % max(1, of // 10) == 0:
        filled = WIDTH * done // of
        end = "\n" if done == of or not sys.stderr.isatty() else ""
        print(f"\r[{'#' * filled}{'.' * (WIDTH - filled)}] {done} of {of}", end=end, file=sys.stderr)


def sweep(alone):
    """Everybody who is behind, a portion in one transaction; seconds, processor seconds, and how many were planned."""
    from scheduling.planning import replan

    begin, worked = time.perf_counter(), time.process_time()
    keys = replan.patients_to_replan(None)
    size = 1 if alone else replan.PORTION
    for start in range(0, len(keys), size):
        portion = keys[start : start + size]
        assert replan.replan_many(portion) == set(portion)
        progress(start + len(portion), len(keys))
    return time.perf_counter() - begin, time.process_time() - worked, len(keys)


def peak():
    """Peak memory of this process in MB; it never falls, so sizes run from small to large."""
    text = Path("/proc/self/status").read_text()
    return int(text.split("VmHWM:")[1].split()[0]) // 1024


def measure(count, first, by, alone):
    from django.db.models import F

    from clinic.models import Patient

    invent(count, first, by)
    own = Patient.objects.filter(pk__gte=Patient.objects.get(number=f"B{first}").pk)
    for what in ("first plans", "facts moved"):
        seconds, worked, done = sweep(alone)
        load = os.getloadavg()[0]
        print(
            f"{count:>7} {what}: {done} planned, {seconds:.1f} s, {done / seconds:.0f} patients/s, "
            f"{1000 * worked / done:.1f} ms of processor each, peak {peak()} MB, load {load:.1f}", flush=True,
        )  # fmt: skip
        if what == "first plans":
            own.update(facts_revision=F("facts_revision") + 1)


def queries(connection, by, alone):
    """How many queries one patient costs, the first time and again."""
    from django.db.models import F
    from django.test.utils import CaptureQueriesContext

    from clinic.models import Patient
    from scheduling.planning import replan

    invent(100, 1, by)
    for what in ("first plans", "facts moved"):
        keys = replan.patients_to_replan(None)
        with CaptureQueriesContext(connection) as caught:
            for key in keys if alone else [keys]:
                replan.replan_many([key] if alone else key)
        print(f"{what}: {len(caught) / len(keys):.1f} queries per patient", flush=True)
        Patient.objects.update(facts_revision=F("facts_revision") + 1)


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("patients", nargs="*", type=int, default=[1000, 10_000, 100_000])
    asked.add_argument("--database", default="sqlite")
    asked.add_argument(
        "--alone", action="store_true", help="each patient planned alone, as after a single fact"
    )
    asked.add_argument("--queries", action="store_true", help="count queries per patient instead")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="replanning-") as folder:
        run(asked, prepare(asked.database, folder))


def run(asked, connection):
    try:
        from tests import build

        build.rules_in_force()
        by = build.dermatologist()
        if asked.queries:
            return queries(connection, by, asked.alone)
        first = 1
        for count in sorted(asked.patients):
            measure(count, first, by, asked.alone)
            first += count
    finally:
        connection.creation.destroy_test_db("bench", verbosity=0)


if __name__ == "__main__":
    main()
