"""Do the desk's work in the demo: the diary, appointments, calls, and today's lists."""

from datetime import time, timedelta
from typing import Any

from clinic import clock
from clinic.models import ContactRoute, Patient
from clinic.project.demo import events as e
from clinic.project.demo.acts import DemoClinic, Part
from scheduling.checklists import records
from scheduling.counting import whereabouts
from scheduling.desk import bookable, booking, claims, contacts
from scheduling.models import OPEN, Appointment, Recall, Resource
from scheduling.planning import replan
from scheduling.recalls import closing, overrides
from scheduling.today import worklists

# Room, opens, closes; both rooms on every working day of the diary.
HOURS = (("Room 1", time(9), time(12, 40)), ("Room 2", time(13, 20), time(16, 40)))
DIARY = range(-45, 26)  # working days from today: nine weeks of the past and five ahead
CLOSED = (8, "Staff training")
CLAIMED_BY_OTHER = "Castlemarch"


def open_diary(demo: DemoClinic) -> None:
    rooms = [(Resource.objects.create(name=name), opens, closes) for name, opens, closes in HOURS]
    doctors = demo.dermatologists
    closed = demo.calendar.working_day(CLOSED[0])
    # Before the sessions: nothing is booked on it yet that would have to be moved.
    bookable.close_day(day=closed, reason=CLOSED[1], by=demo.nurses[0])
    days = {demo.calendar.working_day(steps) for steps in DIARY}
    for day in sorted(days - {closed}):
        for (room, opens, closes), doctor in zip(rooms, doctors, strict=False):
            hours: Any = {"resource": room, "clinician": doctor, "opens": opens, "closes": closes}
            bookable.open_session(day=day, by=doctors[0], **hours)


def plan(part: Part) -> None:
    replan.replan_patient(part.patient.pk)


def open_recall(part: Part, purpose: str) -> Recall:
    rows = Recall.objects.filter(patient=part.patient, purpose=purpose, state__in=OPEN)
    return rows.select_related("patient").earliest("latest")


def book(demo: DemoClinic, part: Part, event: e.Booked) -> None:
    """Book at some hour of the day, not always the first one."""
    day = demo.calendar.working_day(event.on)
    slots = bookable.free_slots(since=day, until=day, limit=20)
    # Spread over the day, and the same at every build.
    slot = slots[part.number * 7 % len(slots)]
    booking.book(
        recalls=[open_recall(part, event.purpose)],
        resource=slot.resource,
        starts_at=slot.starts_at,
        minutes=slot.minutes,
        by=demo.nurses[part.nurse],
    )


def set_interval(demo: DemoClinic, part: Part, event: e.Spaced) -> None:
    part.patient.refresh_from_db()
    overrides.set_interval(
        patient=part.patient,
        by=demo.dermatologists[part.doctor],
        purpose=event.purpose,
        subject="patient",
        interval=event.interval,
        reason=event.reason,
        revision=part.patient.facts_revision,
    )


def fill_checklist(demo: DemoClinic, part: Part, event: e.Listed) -> None:
    by, visit = demo.dermatologists[part.doctor], records.visits_of(part.patient)[0]
    mole = part.moles[event.mole]
    records.fill(lesion=mole, visit=visit, by=by, kind=event.kind, entries=dict(event.entries))


def end(demo: DemoClinic, part: Part, event: e.Ended) -> None:
    row = Appointment.objects.filter(patient=part.patient, state="booked").latest("starts_at")
    by = demo.nurses[part.nurse]
    if event.how == "attended":
        done = [(recall.purpose, recall.subject) for recall in row.recalls.all()]
        by = demo.dermatologists[part.doctor]
        booking.record_attended(appointment=row, by=by, revision=row.revision, done=done)
    elif event.how == "missed":
        booking.record_missed(appointment=row, by=by, revision=row.revision)
    else:
        booking.cancel(appointment=row, by=by, revision=row.revision, whose=event.how)


def call(demo: DemoClinic, part: Part, event: e.Called) -> None:
    route = ContactRoute.objects.filter(patient=part.patient, kind=event.route).first()
    contacts.log_attempt(
        recall=open_recall(part, event.purpose),
        by=demo.nurses[event.by],
        route=event.route,
        address=route.value if route else part.person.town,
        outcome=event.outcome,
        next_on=clock.today() + timedelta(days=event.again) if event.again else None,
        note=event.note,
    )


def write_lists(demo: DemoClinic) -> None:
    """Write today's lists as the morning's chore would, with one item that the other nurse has claimed."""
    today = demo.calendar.today
    replan.replan_many(replan.patients_to_replan(None))
    closing.become_due(today)
    worklists.build(today)
    other = Patient.objects.filter(family_name=CLAIMED_BY_OTHER).first()
    if other:
        claims.claim(patient=other, by=demo.nurses[1])
    whereabouts.count_everybody(today)
