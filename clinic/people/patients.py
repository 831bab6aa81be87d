"""Register and find patients, and keep the ways to reach them."""

import re
from datetime import date
from typing import Any

from django.db import models, transaction
from django.db.models import Q, QuerySet

from clinic import clock
from clinic.duties import ledger
from clinic.models import ContactRoute, Member, Patient, PatientStatus, change
from clinic.trail import audit
from clinic.trail.audit import subject_of

_NUMBER = "QD-{:05d}"
NAMES = ("given_name", "family_name", "address_hint", "interpreter")


class PatientRefused(ValueError):
    """Raised where a patient cannot be registered or amended so; the text is the sentence for the page."""


@transaction.atomic
def register(
    *, by: Member, family_name: str, born: date, given_name: str = "", phone: str = "", **more: Any
) -> Patient:
    """Register a patient; the number follows from the row's key, so two at once cannot get the same."""
    now = clock.now()
    patient = Patient.objects.create(
        given_name=given_name,
        family_name=family_name,
        born=born,
        number=f"new-{now.timestamp():.0f}"[-12:],
        changed_at=now,
        **more,
    )
    patient.number = _NUMBER.format(patient.pk)
    patient.save(update_fields=["number"])
    if phone:
        ContactRoute.objects.create(patient=patient, kind="phone", value=phone, changed_at=now)
    audit.record("patient.register", by=by, subject=patient, patient=patient)
    if not phone:
        find_a_way(patient=patient, because=patient, by=by)
    return patient


@transaction.atomic
def amend(*, patient: Patient, by: Member, revision: int, **fields: Any) -> Patient:
    """Amend a patient's record. Raises StaleRow when it changed since it was shown."""
    before = {name: str(getattr(patient, name)) for name in fields}
    birth_moved = "born" in fields and fields["born"] != patient.born
    change(patient, seen=revision, at=clock.now(), **fields)
    after = {name: str(getattr(patient, name)) for name in fields}
    moved = {name: [before[name], after[name]] for name in fields if before[name] != after[name]}
    action = "patient.correct_birth" if birth_moved else "patient.amend"
    audit.record(action, by=by, subject=patient, patient=patient, changed=moved)
    return patient


@transaction.atomic
def add_route(*, patient: Patient, by: Member, kind: str, value: str) -> ContactRoute:
    if patient.routes.filter(kind=kind, value=value).exists():
        raise PatientRefused("This number or address is already on the record.")
    route = ContactRoute.objects.create(patient=patient, kind=kind, value=value, changed_at=clock.now())
    audit.record("patient.add_route", by=by, subject=route, patient=patient, kind=kind)
    ledger.end_all(("find_a_way",), by=by, evidence=route, patient=patient)
    return route


@transaction.atomic
def kill_route(*, route: ContactRoute, by: Member | None, on: date | None = None) -> ContactRoute:
    """Mark a contact route as dead: it stays on the record and is offered no more; after the last one a duty opens."""
    if route.dead_since is None:
        change(route, seen=route.revision, at=clock.now(), dead_since=on or clock.today())
        audit.record("patient.kill_route", by=by, subject=route, patient=route.patient)
        if not route.patient.routes.filter(dead_since__isnull=True).exists():
            find_a_way(patient=route.patient, because=route, by=by)
    return route


@transaction.atomic
def revive_route(*, route: ContactRoute, by: Member, because: models.Model) -> ContactRoute:
    """Use a contact route again that was marked as dead in error; `because` is the row that says so."""
    change(route, seen=route.revision, at=clock.now(), dead_since=None)
    audit.record("patient.revive_route", by=by, subject=route, patient=route.patient)
    for duty in ledger.open_duties(route.patient).filter(kind="find_a_way", opened_from=subject_of(route)):
        ledger.withdraw(duty, by=by, because=because)
    return route


@transaction.atomic
def find_a_way(*, patient: Patient, because: models.Model, by: Member | None) -> None:
    """Open the duty to find a way to reach the patient, once for each patient under care."""
    owed = ledger.open_duties(patient).filter(kind="find_a_way").exists()
    if patient.status == PatientStatus.ACTIVE and not owed:
        ledger.open_duty("find_a_way", patient=patient, opened_from=because, by=by)


def search(words: str) -> QuerySet[Patient]:
    """Search patients by number, by any part of the name, by date of birth as 1949-09-30 or 30.9.1949."""
    found = Patient.objects.filter(merged_into__isnull=True)
    for word in words.split():
        born = _as_day(word)
        matches = Q(given_name__icontains=word) | Q(family_name__icontains=word) | Q(number__icontains=word)
        found = found.filter(matches | Q(born=born) if born else matches)
    return found


def _as_day(word: str) -> date | None:
    iso = re.fullmatch(r"(\d{4})-(\d{1,2})-(\d{1,2})", word)
    local = re.fullmatch(r"(\d{1,2})[./](\d{1,2})[./](\d{4})", word)
    parts = iso.groups() if iso else tuple(reversed(local.groups())) if local else None
    try:
        return date(*map(int, parts)) if parts else None
    except ValueError:
        return None


def namesakes(patient: Patient) -> QuerySet[Patient]:
    """Find other patients with the same family name and the same initial; the page warns of them."""
    others = Patient.objects.filter(family_name__iexact=patient.family_name, merged_into__isnull=True)
    return others.filter(given_name__istartswith=patient.given_name[:1]).exclude(pk=patient.pk)


def shared_names(patients: list[Patient]) -> set[int]:
    """Find those in the list whose full name another patient bears as well."""
    names = {(patient.given_name.lower(), patient.family_name.lower()) for patient in patients}
    families = {family for _, family in names}
    bearers: dict[tuple[str, str], list[int]] = {}
    rows = Patient.objects.filter(_any_family(families), merged_into__isnull=True)
    for pk, given, family in rows.values_list("pk", "given_name", "family_name"):
        bearers.setdefault((given.lower(), family.lower()), []).append(pk)
    return {pk for keys in bearers.values() if len(keys) > 1 for pk in keys}


def _any_family(families: set[str]) -> Q:
    either = Q(pk__in=[])
    for family in sorted(families):
        either |= Q(family_name__iexact=family)
    return either
