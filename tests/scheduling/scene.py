"""What the tests of this app stand on: one fixed noon, rules in force, patients with a duty, bookable hours.

Windows are those of the shipped set: three months after an excision, two weeks early or late (docs/sources.md).
"""

from datetime import UTC, date, datetime, time, timedelta

from clinic import clock
from clinic.people import ending, visits
from lesions.results import pathology
from scheduling.desk import bookable, booking
from scheduling.models import DeskLine, Recall, Resource, Section
from scheduling.planning import replan
from scheduling.today import shown_lines, worklists
from tests import build
from tests.lesions import scene as pictures

NOON = datetime(2026, 6, 17, 11, 0, tzinfo=UTC)  # a Wednesday, noon in Dublin
TODAY = NOON.date()


def melanoma(anchor, told=True, patient=None, high=False, **more):
    """A patient whose invasive melanoma was excised on `anchor`: checks every three months from then."""
    patient = patient or build.patient()
    by = build.dermatologist()
    if not patient.risk_assessments.exists():
        build.risk_assessment(patient, by=by, on=TODAY, past_melanoma=high)
        if high:  # checked on the day of the excision, so that the tier asks for nothing sooner
            came(patient, anchor)
    facts = {"thickness": "0.6", "ulceration": False, "n": "N0", "m": "M0", "stage_basis": "pathological"}
    found = pathology.record_diagnosis(
        patient=patient, by=by, code="melanoma", reported_on=anchor, anchor=anchor, **(facts | more)
    )
    if told:
        pictures.tell(found, by, on=anchor)
    return patient


def check_of(patient):
    """The open recall for the full skin check after a plan was made."""
    return open_recall(patient, "full_skin_check")


def open_recall(patient, purpose):
    replan.replan_patient(patient.pk)
    return Recall.objects.get(patient=patient, purpose=purpose, state__in=("planned", "due", "booked"))


def due_check(**more):
    """Window 1 to 29 June 2026, target 15 June: due, and two weeks left."""
    return check_of(melanoma(date(2026, 3, 15), **more))


def overdue_check(**more):
    """Window 1 to 29 May 2026: nineteen days late at NOON."""
    return check_of(melanoma(date(2026, 2, 15), **more))


def came(patient, on, *done):
    return visits.record(
        patient=patient,
        by=build.dermatologist(),
        attended_on=on,
        done=done or [("full_skin_check", "patient")],
    )


def hours(day=TODAY, name="Room 1", opens=time(9), closes=time(17)):
    room, _ = Resource.objects.get_or_create(name=name)
    bookable.open_session(resource=room, day=day, opens=opens, closes=closes, by=build.manager())
    return room


def at(hour=14, minute=0, day=TODAY):
    """A moment of the fixed day, in UTC."""
    return datetime.combine(day, time(hour, minute), tzinfo=UTC)


def booked(recall, starts_at=None, by=None):
    starts_at = starts_at or at(14)
    room = hours(day=starts_at.date(), name=f"Room of {recall.pk}")
    return booking.book(recalls=[recall], resource=room, starts_at=starts_at, by=by or build.nurse())


def ended(status="deceased"):
    patient = build.patient()
    return ending.end_care(
        patient=patient,
        by=build.dermatologist(),
        revision=patient.revision,
        status=status,
        on=TODAY,
        ground="said",
    )


def later(**span):
    return clock.at(NOON + timedelta(**span))


def mark(patient, **more):
    return pictures.lesion(patient, **more)


def to_reach(day=TODAY):
    """The recalls that Today asks the desk to phone or to write for on a day, in its order."""
    with clock.at(NOON + (day - TODAY)):
        worklists.build(day)
        lines = shown_lines.in_order(DeskLine.objects.all(), Section.PHONE)
        keys = [line.first for line in (*lines, *shown_lines.in_order(DeskLine.objects.all(), Section.WRITE))]
        return [Recall.objects.get(pk=key.partition(":")[2]) for key in keys if key.startswith("recall:")]
