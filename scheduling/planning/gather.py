"""Rows into FACTS: the only place that reads what the planning core is told about a patient."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from django.db.models import Max

from clinic.models import DoneItem, Patient
from clinic.people import risk
from lesions.models import Diagnosis, Lesion, Procedure, SignOff
from scheduling.models import Override, Recall, RecallState
from scheduling.rules.facts import facts

INVASIVE = {"melanoma": True, "scc": True, "bcc": True, "melanoma_in_situ": False, "scc_in_situ": False}


Keys = Sequence[int]


def gather_facts(patient: Patient) -> facts.Facts:
    """Everything the core may know about this patient, in ten queries however long the history."""
    return gather_facts_of_all([patient])[patient.pk]


def gather_facts_of_all(patients: Sequence[Patient]) -> dict[int, facts.Facts]:
    """The same for many, by their keys and in no more queries; read the patients before, so that a change shows."""
    keys = [patient.pk for patient in patients]
    diagnoses = list(Diagnosis.objects.filter(patient__in=keys).order_by("pk"))
    tiers = risk.standing(keys)
    parts = {
        "diagnoses": _grouped((row.patient_id, _diagnosis(row)) for row in diagnoses),
        "lesions": _grouped(_lesions(keys)),
        "decisions": _grouped(_decisions(keys)),
        "procedures": _grouped(_procedures(keys)),
        "done": _grouped(_done(keys, diagnoses)),
        "closed": _grouped(_closed(keys)),
        "overrides": _grouped(_overrides(keys)),
    }
    return {
        patient.pk: facts.Facts(
            patient=_patient(patient, tiers.get(patient.pk)),
            **{name: tuple(rows.get(patient.pk, ())) for name, rows in parts.items()},
        )
        for patient in patients
    }


def _grouped(rows: Iterable[tuple[int, Any]]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for patient, row in rows:
        found[patient].append(row)
    return found


def _patient(patient: Patient, tier: tuple[str, date, date] | None) -> facts.PatientFacts:
    return facts.PatientFacts(
        status=patient.status,  # type: ignore[arg-type]
        born=patient.born,
        risk=facts.Risk(*tier) if tier else None,  # type: ignore[arg-type]
        records_since=patient.records_since,
    )


def _diagnosis(row: Diagnosis) -> facts.Diagnosis:
    classed = facts.RiskClass(row.risk_scheme, row.risk_class) if row.risk_scheme and row.risk_class else None
    return facts.Diagnosis(
        id=str(row.pk),
        code=row.code,  # type: ignore[arg-type]
        anchor=row.anchor,
        invasive=INVASIVE.get(row.code),
        thickness=row.thickness or None,
        ulceration=row.ulceration,
        n=row.n or None,  # type: ignore[arg-type]
        m=row.m or None,  # type: ignore[arg-type]
        stage=row.stage or None,  # type: ignore[arg-type]
        stage_basis=row.stage_basis or None,  # type: ignore[arg-type]
        # The form asks for the tumour that was removed, so its primary is known.
        primary="known" if row.code == "melanoma" else None,
        risk_class=classed,
        lesion=str(row.lesion_id) if row.lesion_id else None,
    )


def _lesions(keys: Keys) -> Iterator[tuple[int, facts.LesionFacts]]:
    rows = Lesion.objects.filter(patient__in=keys).annotate(last_image_on=Max("images__taken_on"))
    for row in rows.order_by("pk").prefetch_related("urgent_signs"):
        yield row.patient_id, _lesion(row)


def _lesion(row: Lesion) -> facts.LesionFacts:
    signs = [facts.UrgentSign(sign.sign, sign.noted_on) for sign in row.urgent_signs.all()]
    return facts.LesionFacts(
        id=str(row.pk),
        state=row.state,  # type: ignore[arg-type]
        monitoring=row.monitoring or None,  # type: ignore[arg-type]
        since=row.since,
        last_image_on=row.last_image_on,  # type: ignore[attr-defined]
        site=row.site,
        urgent=tuple(sorted(signs, key=lambda sign: (sign.on, sign.sign))),
        examined_in_person_on=row.examined_in_person_on,
    )


def _decisions(keys: Keys) -> Iterator[tuple[int, facts.DecisionFact]]:
    """Ids are padded: of two decisions of one day the core takes the one with the greater id."""
    rows = SignOff.objects.filter(lesion__patient__in=keys).order_by("pk")
    fields = ("lesion__patient", "pk", "lesion", "decision", "signed_on", "months")
    for patient, pk, lesion, *more in rows.values_list(*fields):
        yield patient, facts.DecisionFact(f"{pk:012d}", str(lesion), *more)


def _procedures(keys: Keys) -> Iterator[tuple[int, facts.Procedure]]:
    for row in Procedure.objects.filter(patient__in=keys).order_by("pk"):
        yield row.patient_id, facts.Procedure(str(row.pk), row.kind, row.on, row.site or None, row.sutures)  # type: ignore[arg-type]


def _done(keys: Keys, diagnoses: list[Diagnosis]) -> Iterator[tuple[int, facts.Done]]:
    """Items of visits; and a result that was told, by whatever way, needs no visit for it any more."""
    items = DoneItem.objects.filter(visit__patient__in=keys).order_by("visit__attended_on", "pk")
    for patient, *item in items.values_list("visit__patient", "purpose", "subject", "visit__attended_on"):
        yield patient, facts.Done(*item)
    for row in diagnoses:
        if row.told_on and row.procedure_id:
            yield row.patient_id, facts.Done("result_visit", f"procedure:{row.procedure_id}", row.told_on)


def _closed(keys: Keys) -> Iterator[tuple[int, facts.Closed]]:
    """What a person closed. A recall that the plan itself dropped closes nothing: it may be asked for again."""
    rows = Recall.objects.filter(patient__in=keys, state=RecallState.CLOSED, closed_by__isnull=False)
    fields = ("patient", "purpose", "subject", "anchor", "number", "ground", "ended_on")
    for patient, *closed in rows.order_by("pk").values_list(*fields):
        yield patient, facts.Closed(*closed)


def _overrides(keys: Keys) -> Iterator[tuple[int, facts.Override]]:
    """Those that nobody ended; one that is past still stands in the place of what it replaced."""
    rows = Override.objects.filter(patient__in=keys, ended_on__isnull=True).select_related("by")
    for row in rows.order_by("pk"):
        yield row.patient_id, override_fact(row)


def override_fact(row: Override) -> facts.Override:
    return facts.Override(
        id=str(row.pk or "new"),
        purpose=row.purpose,  # type: ignore[arg-type]
        subject=row.subject,
        reason=row.reason.rstrip(" ."),
        by=str(row.by),
        interval=row.interval or None,
        date=row.date,
        until=row.until,
    )
