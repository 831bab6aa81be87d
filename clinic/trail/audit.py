"""Write the audit trail: without its audit record no action happens; both are in the same transaction."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import models, transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from clinic import clock
from clinic.models import AuditRecord, Member, Patient, ReadRecord, insert_all
from clinic.signals import facts_changed
from clinic.wording import Words


@dataclass(frozen=True)
class Action:
    words: Words
    changes_facts: bool


# Every action of the program, registered by the app that does it. `changes_facts` bumps the patient's facts revision,
# and so makes the plan stale.
ACTIONS: dict[str, Action] = {}
# What an app writes in the same transaction for what was recorded: (action, patient), None for nobody on file.
ALSO: list[Callable[[Iterable[tuple[str, int | None]]], None]] = []


# What is said of a record that was merged away; everything else is written on the record that it was merged into.
_OF_MERGED = ("patient.merged_away",)


class MergedAway(ValueError):
    """Raised where something is written about a record that was merged into another: nothing is saved."""

    def __init__(self, patient: Patient) -> None:
        super().__init__(f"{patient.number} was merged away")
        self.patient = patient


def register_actions(actions: Mapping[str, Action]) -> None:
    """Add what an app does to the table; nobody else's action is replaced."""
    if known := ACTIONS.keys() & actions.keys():
        raise RuntimeError(f"audit actions are registered already: {', '.join(sorted(known))}")
    ACTIONS.update(actions)


def record(
    action: str, *, by: Member | None, subject: models.Model, patient: Patient | None = None, **details: Any
) -> AuditRecord:
    """Write one audit record inside the caller's transaction; `by=None` is the program itself."""
    # Outside a transaction the record could stay without its change, or the change without its record.
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError(f"audit record {action!r} outside a transaction")
    # A tab of yesterday shows the old record still: what is written there would be lost from sight.
    if patient is not None and patient.merged_into_id and action not in _OF_MERGED:
        raise MergedAway(patient)
    changes = ACTIONS[action].changes_facts
    revision = _bump(patient) if changes and patient is not None else None
    row = AuditRecord.objects.create(
        at=clock.now(),
        by=by,
        action=action,
        patient=patient,
        subject=subject_of(subject),
        facts_revision=revision,
        details=details,
    )
    _also([(action, None if patient is None else patient.pk)])
    if patient is not None and changes:
        # The number alone: after commit the row in memory may be as old as the page that began this.
        patient_id = patient.pk
        transaction.on_commit(lambda: _announce(patient_id), robust=True)
    return row


@dataclass(frozen=True)
class Entry:
    """One record of what the program itself did, to be written together with others."""

    action: str
    subject: models.Model | str
    patient: Patient
    details: dict[str, Any]


def record_all(entries: Iterable[Entry]) -> None:
    """Write many records in one statement; only for what the program does and what changes no facts."""
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("audit records outside a transaction")
    rows: list[dict[str, Any]] = []
    now = clock.now()
    for entry in entries:
        if ACTIONS[entry.action].changes_facts:
            # Written together, the patients' revisions would not move, and their plans would stay old.
            raise RuntimeError(f"audit record {entry.action!r} changes facts: it is written alone")
        subject = entry.subject if isinstance(entry.subject, str) else subject_of(entry.subject)
        about = {"patient_id": entry.patient.pk, "subject": subject}
        rows.append({"at": now, "action": entry.action, "details": entry.details, **about})
    insert_all(AuditRecord, rows)
    _also([(row["action"], row["patient_id"]) for row in rows])


def _also(recorded: list[tuple[str, int | None]]) -> None:
    for write in ALSO:
        write(recorded)


def subject_of(row: models.Model) -> str:
    """Give the words by which a record names what it is about: clinic.policy:7"""
    return f"{row._meta.label_lower}:{row.pk}"


def _bump(patient: Patient) -> int:
    """Raise the patient's facts revision; the update is also the patient's lock until the transaction ends."""
    Patient.objects.filter(pk=patient.pk).update(facts_revision=F("facts_revision") + 1)
    patient.facts_revision = Patient.objects.values_list("facts_revision", flat=True).get(pk=patient.pk)
    return patient.facts_revision


def _announce(patient_id: int) -> None:
    # Robust: who listens may fail, and what was recorded stands; the sweep finds what was missed.
    facts_changed.send_robust(sender=Patient, patient_id=patient_id)


def read(patient: Patient, *, by: Member, page: str) -> None:
    """Record that a member opened a page of this patient."""
    ReadRecord.objects.create(at=clock.now(), by=by, patient=patient, page=page)


def trail(patient: Patient) -> QuerySet[AuditRecord]:
    """Find what was written about a patient, also under the numbers of records that were merged into this one."""
    return AuditRecord.objects.filter(patient__in=_records_of(patient)).select_related("by")


def reads(patient: Patient) -> QuerySet[ReadRecord]:
    return ReadRecord.objects.filter(patient__in=_records_of(patient)).select_related("by")


def done_by(member: Member, first: date, last: date) -> QuerySet[AuditRecord]:
    """Find what a member of staff did on these days, the last first."""
    rows = AuditRecord.objects.filter(by=member, **_between(first, last))
    return rows.select_related("by", "patient")


def opened_by(member: Member, first: date, last: date) -> QuerySet[ReadRecord]:
    """Find whose pages a member of staff opened on these days."""
    return ReadRecord.objects.filter(by=member, **_between(first, last)).select_related("by", "patient")


def _between(first: date, last: date) -> dict[str, datetime]:
    """The clinic's own days; as moments, so that the database need not reckon the day of every row."""
    begin, end = (
        timezone.make_aware(datetime.combine(day, time())) for day in (first, last + timedelta(days=1))
    )
    return {"at__gte": begin, "at__lt": end}


def _records_of(patient: Patient) -> list[int]:
    return [patient.pk, *patient.merged_from.values_list("pk", flat=True)]


def words(action: str) -> Words:
    return ACTIONS[action].words if action in ACTIONS else action
