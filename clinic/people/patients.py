"""Register patients, amend their records, and keep the ways to reach them."""

from collections.abc import Callable
from datetime import date
from typing import Any

from django.db import models, transaction

from clinic import clock
from clinic.duties import ledger
from clinic.formats.folding import phone_key
from clinic.models import Carer, ContactRoute, Member, Patient, PatientStatus, RouteKind, change
from clinic.people import consent, finding, wording
from clinic.trail import audit
from clinic.trail.audit import subject_of


class PatientRefused(ValueError):
    """Raised where a patient cannot be registered or amended so; the text is the sentence for the page."""


# What follows from another day of birth, such as when a minor's carers end.
BIRTH_MOVED: list[Callable[[Patient], None]] = []


@transaction.atomic
def register(
    *,
    by: Member,
    family_name: str,
    born: date,
    given_name: str = "",
    phone: str = "",
    photographs: bool | None = None,
    photographs_on: date | None = None,
    **more: Any,
) -> Patient:
    """Register a patient; the number follows from the row's key, so two at once cannot get the same.

    `photographs`: what the patient answered to photographs for care; None where nobody has asked.
    """
    now = clock.now()
    patient = Patient.objects.create(
        given_name=given_name,
        family_name=family_name,
        born=born,
        # The column wants a value before the key is known; replaced below in the same transaction.
        number=f"new-{now.timestamp():.0f}"[-12:],
        changed_at=now,
        **finding.folded(given_name, family_name),
        **more,
    )
    patient.number = finding.record_number(patient.pk)
    patient.save(update_fields=["number"])
    finding.write_parts(patient)
    if phone:
        _store_route(patient, "phone", phone)
    audit.record("patient.register", by=by, subject=patient, patient=patient)
    if photographs is not None:
        consent.record(patient=patient, by=by, given=photographs, on=photographs_on or clock.today())
    if not phone:
        find_a_way(patient=patient, because=patient, by=by)
    return patient


@transaction.atomic
def amend(*, patient: Patient, by: Member, revision: int, **fields: Any) -> Patient:
    """Amend a patient's record. Raises StaleRow when it changed since it was shown."""
    before = {name: str(getattr(patient, name)) for name in fields}
    birth_moved = "born" in fields and fields["born"] != patient.born
    given, family = (fields.get(name, getattr(patient, name)) for name in ("given_name", "family_name"))
    change(patient, seen=revision, at=clock.now(), **fields, **finding.folded(given, family))
    finding.write_parts(patient)
    after = {name: str(getattr(patient, name)) for name in fields}
    moved = {name: [before[name], after[name]] for name in fields if before[name] != after[name]}
    # Of what is amended here only the birth is a fact of the plan: age is an answer of the risk tier.
    action = "patient.correct_birth" if birth_moved else "patient.amend"
    audit.record(action, by=by, subject=patient, patient=patient, changed=moved)
    if birth_moved:
        for follow in BIRTH_MOVED:
            follow(patient)
    return patient


@transaction.atomic
def add_route(
    *,
    patient: Patient,
    by: Member,
    kind: str,
    value: str,
    order: int | None = None,
    voicemail: str = "",
    carer: Carer | None = None,
) -> ContactRoute:
    """Add a number or an address, of the patient or of a carer; one that may be used ends the search for a way."""
    # Also where it is marked as dead: typing a wrong number again does not make it right.
    if patient.routes.filter(kind=kind, value=value).exists():
        raise PatientRefused(wording.KNOWN_ROUTE)
    route = _store_route(patient, kind, value, order=order or 1, voicemail=voicemail, carer=carer)
    audit.record("patient.add_route", by=by, subject=route, patient=patient, kind=kind)
    # A new way is the proper end of that duty, whoever typed it in and for whatever reason.
    if route.works_on(clock.today()):
        ledger.end_all(("find_a_way",), by=by, evidence=route, patient=patient)
    return route


def _store_route(patient: Patient, kind: str, value: str, **more: Any) -> ContactRoute:
    key = phone_key(value) if kind == RouteKind.PHONE else ""
    return ContactRoute.objects.create(
        patient=patient, kind=kind, value=value, phone_key=key, changed_at=clock.now(), **more
    )


@transaction.atomic
def kill_route(*, route: ContactRoute, by: Member | None, on: date | None = None) -> ContactRoute:
    """Mark a contact route as dead: it stays on the record and is offered no more; after the last one a duty opens."""
    if route.dead_since is None:
        change(route, seen=route.revision, at=clock.now(), dead_since=on or clock.today())
        audit.record("patient.kill_route", by=by, subject=route, patient=route.patient)
        if not route.patient.routes.working(clock.today()).exists():
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
def find_a_way(
    *, patient: Patient, because: models.Model, by: Member | None, said: dict[str, str] | None = None
) -> bool:
    """Open the duty to find a way to reach the patient, once for each patient under care; `said`: a code, why."""
    owed = ledger.open_duties(patient).filter(kind="find_a_way").exists()
    if owed or patient.status != PatientStatus.ACTIVE:
        return False
    ledger.open_duty("find_a_way", patient=patient, opened_from=because, by=by, because=said)
    return True
