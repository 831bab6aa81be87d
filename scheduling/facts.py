"""Rows into FACTS: the only place that reads what the planning core is told about a patient."""

from django.db.models import Max

from clinic import risk
from clinic.models import DoneItem, Patient
from lesions.models import Diagnosis, Lesion, Procedure, SignOff
from scheduling.models import Override, Recall, RecallState
from scheduling.rules import facts

INVASIVE = {"melanoma": True, "scc": True, "bcc": True, "melanoma_in_situ": False, "scc_in_situ": False}


def gather(patient: Patient) -> facts.Facts:
    """Everything the core may know about this patient, in ten queries however long the history."""
    diagnoses = list(patient.diagnoses.order_by("pk"))
    return facts.Facts(
        patient=_patient(patient),
        diagnoses=tuple(_diagnosis(row) for row in diagnoses),
        lesions=_lesions(patient),
        decisions=_decisions(patient),
        procedures=tuple(_procedure(row) for row in patient.procedures.order_by("pk")),
        done=_done(patient, diagnoses),
        closed=_closed(patient),
        overrides=_overrides(patient),
    )


def _patient(patient: Patient) -> facts.PatientFacts:
    latest = risk.current(patient)
    return facts.PatientFacts(
        status=patient.status,  # type: ignore[arg-type]
        born=patient.born,
        risk=facts.Risk(latest.tier, latest.assessed_on) if latest else None,  # type: ignore[arg-type]
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


def _lesions(patient: Patient) -> tuple[facts.LesionFacts, ...]:
    rows = Lesion.objects.filter(patient=patient).annotate(last_image_on=Max("images__taken_on"))
    return tuple(_lesion(row) for row in rows.order_by("pk").prefetch_related("urgent_signs"))


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


def _decisions(patient: Patient) -> tuple[facts.DecisionFact, ...]:
    """Ids are padded: of two decisions of one day the core takes the one with the greater id."""
    rows = SignOff.objects.filter(lesion__patient=patient).order_by("pk")
    return tuple(
        facts.DecisionFact(f"{row.pk:012d}", str(row.lesion_id), row.decision, row.signed_on, row.months)  # type: ignore[arg-type]
        for row in rows
    )


def _procedure(row: Procedure) -> facts.Procedure:
    return facts.Procedure(str(row.pk), row.kind, row.on, row.site or None)  # type: ignore[arg-type]


def _done(patient: Patient, diagnoses: list[Diagnosis]) -> tuple[facts.Done, ...]:
    """Items of visits; and a result that was told, by whatever way, needs no visit for it any more."""
    items = DoneItem.objects.filter(visit__patient=patient).order_by("visit__attended_on", "pk")
    rows = items.values_list("purpose", "subject", "visit__attended_on")
    told = [("result_visit", "patient", row.told_on) for row in diagnoses if row.told_on and row.procedure_id]
    return tuple(facts.Done(purpose, subject, on) for purpose, subject, on in [*rows, *told])


def _closed(patient: Patient) -> tuple[facts.Closed, ...]:
    """What a person closed. A recall that the plan itself dropped closes nothing: it may be asked for again."""
    rows = Recall.objects.filter(patient=patient, state=RecallState.CLOSED, closed_by__isnull=False)
    return tuple(
        facts.Closed(row.purpose, row.subject, row.anchor, row.number, row.ground, row.ended_on)  # type: ignore[arg-type]
        for row in rows.order_by("pk")
    )


def _overrides(patient: Patient) -> tuple[facts.Override, ...]:
    """Those that nobody ended; one that is past still stands in the place of what it replaced."""
    rows = Override.objects.filter(patient=patient, ended_on__isnull=True).select_related("by")
    return tuple(override_fact(row) for row in rows.order_by("pk"))


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
