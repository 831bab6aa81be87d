"""A clinic of many patients with much to do, in bulk: not the road of the pages, whose audit is no part of what is measured."""

import random
from datetime import UTC, datetime, time, timedelta

from tests.bench.replanning import BATCH, people, risks

ROOMS, SHARE_LATE, VISITS_A_DAY = 6, 4, 120
FAMILIES = 4000  # so that names are shared, as they are in a town


def invent(count, due, by):
    """`count` patients; `due` of them are to be reached today, a quarter past the last day of their window."""
    from clinic import clock
    from clinic.models import Patient
    from scheduling.today import worklists

    random_, today = random.Random(count), clock.today()
    for start in range(0, count, BATCH):
        risks(people(min(BATCH, count - start), 1 + start, today, random_), today, random_, by)
    patients = list(Patient.objects.order_by("pk"))
    for index, patient in enumerate(patients):
        patient.family_name, patient.given_name = f"Person{index % FAMILIES}", f"Invented{index % 97}"
    Patient.objects.bulk_update(patients, ["family_name", "given_name"], batch_size=400)
    recalls(patients, due, today, random_)
    visits(patients[due:], today, by)
    duties(patients[: due // 2], today, by)
    pictures(patients[: due // 2], today, by)
    problems(today)
    worklists.build(today)


def recalls(patients, due, today, random_):
    """One open check for everybody; those who are due stand on the list of the day, and some were tried."""
    from clinic import clock, policies
    from scheduling.models import ContactAttempt, Recall

    rules, rows = policies.in_force("rules"), []
    for index, patient in enumerate(patients):
        late = index < due and index % SHARE_LATE == 0
        latest = today - timedelta(random_.randrange(1, 90)) if late else today + timedelta(index % 30)
        if index >= due:
            latest = today + timedelta(random_.randrange(60, 360))
        rows.append(
            Recall(
                patient=patient, purpose="full_skin_check", subject="patient", number=2, anchor=latest - timedelta(196),
                earliest=latest - timedelta(28), target=latest - timedelta(14), latest=latest, urgency="B",
                rule="melanoma", policy=rules, state="due" if index < due else "planned", changed_at=clock.now(),
                opened_on=today - timedelta(20),
                reasons=[{"rule": "melanoma", "of": "patient", "params": {}, "anchor": str(latest)}],
            )
        )  # fmt: skip
    rows = Recall.objects.bulk_create(rows, batch_size=400)[:due]
    member = rules.proposed_by
    ContactAttempt.objects.bulk_create(
        [
            ContactAttempt(
                recall=row,
                at=clock.now() - timedelta(3),
                by=member,
                route="phone",
                outcome="no_answer",
                counts=True,
            )
            for row in rows[::2]
        ],
        batch_size=400,
    )


def visits(patients, today, by):
    """A full day of the diary on each of seven days, today's in part without an outcome."""
    from clinic import clock
    from scheduling.models import Appointment, Resource, Session

    rooms = [Resource.objects.create(name=f"Room {number}") for number in range(1, ROOMS + 1)]
    monday, rows = today - timedelta(today.weekday()), []
    for of_week in range(7):
        day = monday + timedelta(of_week)
        Session.objects.bulk_create(
            Session(resource=room, day=day, opens=time(8), closes=time(18)) for room in rooms
        )
        for index in range(VISITS_A_DAY):
            at = datetime.combine(
                day, time(8 + index // ROOMS * 20 // 60, index // ROOMS * 20 % 60), tzinfo=UTC
            )
            patient = patients[(of_week * VISITS_A_DAY + index) % len(patients)]
            state = "attended" if day < today else "booked"
            rows.append(
                Appointment(
                    patient=patient, resource=rooms[index % ROOMS], starts_at=at, minutes=20, state=state, booked_by=by,
                    changed_by=by, changed_at=clock.now(),
                )
            )  # fmt: skip
    made = Appointment.objects.bulk_create(rows, batch_size=400)
    ahead = [row for row in made if row.state == "booked"]
    Appointment.recalls.through.objects.bulk_create(
        Appointment.recalls.through(appointment=row, recall=row.patient.recalls.get()) for row in ahead
    )


def problems(today):
    """A question about every lesion."""
    from lesions.models import Lesion
    from scheduling.models import PlanProblem

    PlanProblem.objects.bulk_create(
        [
            PlanProblem(
                patient_id=row.patient_id, code="no_interval", subject=f"lesion:{row.pk}", since=today,
                params={"day": str(today)},
            )
            for row in Lesion.objects.all()
        ],
        batch_size=400,
    )  # fmt: skip


def duties(patients, today, by):
    """Results to tell, and letters to write."""
    from clinic import clock
    from clinic.models import Duty
    from lesions.models import Diagnosis

    results = Diagnosis.objects.bulk_create(
        [
            Diagnosis(patient=row, code="bcc", reported_on=today, anchor=today, by=by, changed_at=clock.now())
            for row in patients
        ],
        batch_size=400,
    )
    Duty.objects.bulk_create(
        [
            Duty(
                kind=kind, patient=row.patient, subject=f"diagnosis:{row.pk}", due_on=today, opened_at=clock.now(),
                opened_from=f"lesions.diagnosis:{row.pk}", opened_by=by, changed_at=clock.now(),
            )
            for row in results for kind in ("tell", "find_a_way")
        ],
        batch_size=400,
    )  # fmt: skip


def pictures(patients, today, by):
    """Three lesions in five wait for a decision, one could not be measured, one waits to be; and a file was refused."""
    from clinic import clock
    from lesions.analysis.version import VERSION
    from lesions.models import Assessment, Image, Lesion, RefusedUpload, Review

    now = clock.now()
    lesions = Lesion.objects.bulk_create(
        [
            Lesion(patient=row, label=1, site="66643007", side="midline", view="back", x=500, y=300, since=today,
                   changed_at=now)
            for row in patients
        ], batch_size=400,
    )  # fmt: skip
    images = Image.objects.bulk_create(
        [
            Image(lesion=row, sha256=f"{row.pk:064}", derivative_sha256=f"{row.pk:064}", format="JPEG", width=9,
                  height=9, bytes=9, filename="invented.jpg", taken_on=today, uploaded_at=now, uploaded_by=by)
            for row in lesions
        ], batch_size=400,
    )  # fmt: skip
    states = ("done", "done", "done", "failed", "queued")
    jobs = Assessment.objects.bulk_create(
        [
            Assessment(image=row, version=VERSION, queued_at=now, changed_at=now, state=(state := states[index % 5]),
                       finished_at=None if state == "queued" else now, result={} if state == "done" else None,
                       failure="other_format" if state == "failed" else "")
            for index, row in enumerate(images)
        ], batch_size=400,
    )  # fmt: skip
    Review.objects.bulk_create(
        [
            Review(
                lesion=job.image.lesion,
                assessment=job,
                flagged=job.pk % 3 != 0,
                opened_at=now,
                changed_at=now,
            )
            for job in jobs
            if job.state != "queued"
        ],
        batch_size=400,
    )
    RefusedUpload.objects.bulk_create(
        [
            RefusedUpload(lesion=row, filename="invented.doc", code="other_format", at=now, by=by)
            for row in lesions[::5]
        ],
        batch_size=400,
    )
