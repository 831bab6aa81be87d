"""Who looks after a patient, what may be said to them, and for how long; a minor's carers until the day of majority."""

from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from clinic import clock
from clinic.models import Authority, Carer, ContactRoute, Duty, Member, Patient, PatientStatus, change
from clinic.people import wording
from clinic.people.patients import BIRTH_MOVED, PatientRefused, find_a_way
from clinic.trail import audit
from clinic.trail.audit import subject_of


def majority(born: date) -> date:
    """Work out the day on which somebody comes of age; who is born on 29 February does on 1 March."""
    year = born.year + settings.AGE_OF_MAJORITY
    try:
        return born.replace(year=year)
    except ValueError:
        return date(year, 3, 1)


def is_minor(patient: Patient, day: date) -> bool:
    return day < majority(patient.born)


@transaction.atomic
def add(
    *,
    patient: Patient,
    by: Member,
    name: str,
    relation: str,
    authority: str,
    valid_from: date,
    valid_until: date | None = None,
) -> Carer:
    """Note who looks after a patient and what may be said; of a minor it ends the day before the coming of age."""
    of_minor = is_minor(patient, valid_from)
    last = majority(patient.born) - timedelta(days=1) if of_minor else None
    days = [day for day in (valid_until, last) if day]
    until = min(days) if days else None
    if until and until < valid_from:
        raise PatientRefused(wording.ENDS_BEFORE_IT_BEGINS)
    span: dict[str, Any] = {"valid_from": valid_from, "valid_until": until}
    row = Carer.objects.create(
        patient=patient,
        name=name,
        relation=relation,
        authority=authority,
        of_minor=of_minor and until == last,
        changed_at=clock.now(),
        **span,
    )
    audit.record(
        "carer.add", by=by, subject=row, patient=patient, authority=authority, until=str(until or "")
    )
    return row


@transaction.atomic
def end(*, carer: Carer, by: Member, revision: int) -> Carer:
    """End it at once: from now on nothing is said to them, and their number is not rung."""
    was, today = carer.authority, clock.today()
    until = max(carer.valid_from, min(today, carer.valid_until or today))
    change(carer, seen=revision, at=clock.now(), authority=Authority.NOTHING, valid_until=until)
    audit.record("carer.end", by=by, subject=carer, patient=carer.patient, was=was)
    _without_a_route(carer, by)
    return carer


def move_ends(patient: Patient) -> None:
    """Follow a corrected day of birth: what ends with the coming of age ends on another day."""
    last = majority(patient.born) - timedelta(days=1)
    for row in patient.carers.filter(of_minor=True):
        change(row, seen=row.revision, at=clock.now(), valid_until=max(last, row.valid_from))


def in_force(patient: Patient) -> list[Carer]:
    """Find who may be spoken to today, and about what."""
    today = clock.today()
    return [row for row in patient.carers.all() if row.holds_on(today)]


def came_of_age(patient: Patient) -> date | None:
    """Give the day since which an adult is asked for an own number: until then only carers' numbers were there."""
    today = clock.today()
    # In Python: both pages that say it have read carers and routes already.
    if is_minor(patient, today) or not any(row.of_minor for row in patient.carers.all()):
        return None
    own = [row for row in patient.routes.all() if row.carer_id is None and row.works_on(today)]
    return None if own else majority(patient.born)


def ended_routes(day: date) -> QuerySet[Carer]:
    """Find carers that no longer hold whose number was the patient's last way to be reached."""
    works = ContactRoute.objects.working(day).filter(patient=OuterRef("patient"))
    theirs = ContactRoute.objects.filter(carer=OuterRef("pk"), dead_since__isnull=True)
    rows = Carer.objects.filter(valid_until__lt=day, patient__merged_into__isnull=True)
    rows = rows.filter(patient__status=PatientStatus.ACTIVE)
    return rows.filter(Exists(theirs), ~Exists(works)).select_related("patient").order_by("pk")


def find_own_numbers(day: date) -> int:
    """Owe a way to reach whoever came of age, or lost the carer who was rung; returns how many. Runs every night."""
    found = 0
    for carer in ended_routes(day).iterator(chunk_size=500):
        found += _without_a_route(carer, None)
    return found


@transaction.atomic
def _without_a_route(carer: Carer, by: Member | None) -> bool:
    patient = carer.patient
    if (
        patient.routes.working(clock.today()).exists()
        or not carer.routes.filter(dead_since__isnull=True).exists()
    ):
        return False
    # Once for each carer: what a dermatologist has answered does not come back the next night.
    if Duty.objects.filter(kind="find_a_way", opened_from=subject_of(carer)).exists():
        return False
    code = "now_adult" if carer.of_minor and not is_minor(patient, clock.today()) else "carer_ended"
    because = {"code": code, "name": carer.name}
    return find_a_way(patient=patient, because=carer, by=by, said=because)


BIRTH_MOVED.append(move_ends)
