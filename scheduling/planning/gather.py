"""Gather the FACTS of a patient from the database: the only place that reads what the planning core is told."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.db.models import Max, OuterRef, Q, Subquery

from clinic.models import DoneItem, Patient
from clinic.people import risk
from lesions.models import Decision, Diagnosis, Lesion, Procedure, UrgentSign
from lesions.register import bodymap, examinations
from lesions.results.tissue_request import FULFILS
from lesions.review import owed
from scheduling.models import Override, Recall, RecallState, SeriesEnd
from scheduling.planning import completions
from scheduling.rules.facts import facts

INVASIVE = {"melanoma": True, "scc": True, "bcc": True, "melanoma_in_situ": False, "scc_in_situ": False}


Keys = Sequence[int]


def gather_facts(patient: Patient) -> facts.Facts:
    """Gather everything the core may know about this patient, in eleven queries however long the history."""
    return gather_facts_of_all([patient])[patient.pk]


def gather_facts_of_all(patients: Sequence[Patient]) -> dict[int, facts.Facts]:
    """Gather the same for many patients, in no more queries; read the patients before, so that a change shows."""
    keys = [patient.pk for patient in patients]
    diagnoses = list(Diagnosis.objects.filter(patient__in=keys).order_by("pk"))
    procedures = list(Procedure.objects.filter(patient__in=keys).order_by("pk"))
    tiers, signs, lesions = risk.standing(keys), _signs(keys), _lesions(keys)
    parts = {
        "diagnoses": _grouped((row.patient_id, _diagnosis(row)) for row in diagnoses),
        "lesions": _grouped(
            (row.patient_id, _lesion(row, signs.get(("lesion", row.pk), ()))) for row in lesions
        ),
        "decisions": _grouped(_decisions(keys, procedures)),
        "procedures": _grouped((row.patient_id, _procedure(row)) for row in procedures),
        "done": _grouped(_done(keys, diagnoses, lesions)),
        "closed": _grouped(_closed(keys)),
        "overrides": _grouped(_overrides(keys)),
    }
    return {
        patient.pk: facts.Facts(
            patient=_patient(patient, tiers.get(patient.pk), signs.get(("patient", patient.pk), ())),
            **{name: tuple(rows.get(patient.pk, ())) for name, rows in parts.items()},
        )
        for patient in patients
    }


def _grouped(rows: Iterable[tuple[int, Any]]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for patient, row in rows:
        found[patient].append(row)
    return found


def _patient(
    patient: Patient, tier: risk.StandingTier | None, concerns: Sequence[facts.UrgentSign]
) -> facts.PatientFacts:
    return facts.PatientFacts(
        # What is left of a care that ends is handed over by people: nothing new is planned meanwhile.
        status=patient.ending_as or patient.status,  # type: ignore[arg-type]
        born=patient.born,
        risk=_risk(tier) if tier else None,
        records_since=patient.records_since,
        concerns=tuple(concerns),
    )


def _risk(tier: risk.StandingTier) -> facts.Risk:
    known: Any = tier.tier
    return facts.Risk(known, tier.assessed_on, tier.since, tier.tier_since, tier.transplant)


def _diagnosis(row: Diagnosis) -> facts.Diagnosis:
    classed = facts.RiskClass(row.risk_scheme, row.risk_class) if row.risk_scheme and row.risk_class else None
    return facts.Diagnosis(
        id=str(row.pk),
        code=row.code,  # type: ignore[arg-type]
        anchor=row.anchor,
        known_on=row.reported_on,
        invasive=INVASIVE.get(row.code),
        thickness=row.thickness or None,
        ulceration=row.ulceration,
        n=row.n or None,  # type: ignore[arg-type]
        m=row.m or None,  # type: ignore[arg-type]
        stage=row.stage or None,  # type: ignore[arg-type]
        stage_basis=row.stage_basis or None,  # type: ignore[arg-type]
        # The form asks for the tumour that was removed, so its primary is known.
        primary="known" if row.code == "melanoma" else None,
        grade=row.grade or None,  # type: ignore[arg-type]
        sentinel=row.sentinel or None,  # type: ignore[arg-type]
        deposit_mm=row.deposit_mm or None,
        nodes_cleared=row.nodes_cleared,
        risk_class=classed,
        lesion=str(row.lesion_id) if row.lesion_id else None,
    )


Signs = dict[tuple[str, int], list[facts.UrgentSign]]


def _signs(keys: Keys) -> Signs:
    """Gather urgent signs by lesion; a concern about no lesion on record stands under its patient."""
    found: Signs = defaultdict(list)
    rows = UrgentSign.objects.filter(patient__in=keys).select_related("answered_by", "handed_over")
    for row in rows.order_by("noted_on", "pk"):
        about = ("lesion", row.lesion_id) if row.lesion_id else ("patient", row.patient_id)
        found[about].append(_sign(row))
    return found


def _lesions(keys: Keys) -> list[Lesion]:
    """Read lesions with the day of the last picture, and of the last look in person that stands in place of one."""
    usable = ~Q(images__in=owed.unusable_pictures().filter(lesion__patient__in=keys))
    rows = Lesion.objects.filter(patient__in=keys)
    seen = examinations.in_place_of_pictures().filter(lesion=OuterRef("pk")).order_by("-examined_on")
    return list(
        rows.annotate(
            last_image_on=Max("images__taken_on", filter=usable),
            seen_instead_on=Subquery(seen.values("examined_on")[:1]),
        ).order_by("pk")
    )


def _lesion(row: Lesion, signs: Sequence[facts.UrgentSign]) -> facts.LesionFacts:
    return facts.LesionFacts(
        id=str(row.pk),
        state=row.state,  # type: ignore[arg-type]
        monitoring=row.monitoring or None,  # type: ignore[arg-type]
        since=row.since,
        last_image_on=row.last_image_on,  # type: ignore[attr-defined]
        site=row.site,
        region=bodymap.REGION_OF.get(row.site),  # type: ignore[arg-type]
        urgent=tuple(signs),
    )


def _sign(row: UrgentSign) -> facts.UrgentSign:
    answered_on = row.answered_by.examined_on if row.answered_by else None
    if row.handed_over:
        answered_on = row.handed_over.on
    return facts.UrgentSign(str(row.pk), row.sign, row.noted_on, answered_on)  # type: ignore[arg-type]


def _decisions(keys: Keys, procedures: Sequence[Procedure]) -> Iterator[tuple[int, facts.DecisionFact]]:
    """Gather what was decided, with the first procedure of that lesion that did it."""
    by_lesion = _grouped((cut.lesion_id, cut) for cut in procedures if cut.lesion_id)
    rows = owed.deciding().filter(lesion__patient__in=keys).order_by("pk")
    # The key is also the order: of two signatures of one day the later row decides.
    fields = ("lesion__patient", "pk", "lesion", "decision", "signed_on", "months")
    for patient, pk, lesion, decision, on, months in rows.values_list(*fields):
        kinds = FULFILS.get(decision, ())
        done = (cut.on for cut in by_lesion.get(lesion, ()) if cut.kind in kinds and cut.on >= on)
        # A referral has a loop of its own among the results, from sending to reading their letter.
        fulfilled_on = on if decision == Decision.REFER else min(done, default=None)
        yield patient, facts.DecisionFact(str(pk), pk, str(lesion), decision, on, months, fulfilled_on)


def _procedure(row: Procedure) -> facts.Procedure:
    return facts.Procedure(
        id=str(row.pk),
        kind=row.kind,  # type: ignore[arg-type]
        on=row.on,
        site=row.site or None,
        region=bodymap.REGION_OF.get(row.site),  # type: ignore[arg-type]
        lesion=str(row.lesion_id) if row.lesion_id else None,
        sutures=row.sutures,
    )


def _done(
    keys: Keys, diagnoses: Sequence[Diagnosis], lesions: Sequence[Lesion]
) -> Iterator[tuple[int, facts.Done]]:
    """Gather what was done in visits; a result that was told, in whatever way, needs no visit any more.

    So is a look in person at a lesion of which no picture may be taken.
    """
    items = DoneItem.objects.filter(visit__patient__in=keys).order_by("visit__attended_on", "pk")
    fields = ("visit__patient", "purpose", "subject", "visit__attended_on", "not_seen")
    for patient, purpose, subject, on, not_seen in items.values_list(*fields):
        yield patient, facts.Done(purpose, subject, on, tuple(not_seen))
    for row in diagnoses:
        if row.told_on and row.procedure_id:
            yield row.patient_id, facts.Done("result_visit", f"procedure:{row.procedure_id}", row.told_on)
    for lesion in lesions:
        if on := lesion.seen_instead_on:  # type: ignore[attr-defined]  # annotated in `_lesions`
            yield lesion.patient_id, facts.Done("lesion_image", f"lesion:{lesion.pk}", on)
    further = completions.told_steps().filter(duty__patient__in=keys).order_by("pk")
    for patient, subject, on in further.values_list("duty__patient", "duty__subject", "on"):
        yield patient, facts.Done("result_visit", subject, on)


def _closed(keys: Keys) -> Iterator[tuple[int, facts.Closed]]:
    """Gather what a person closed. A recall that the plan itself dropped closes nothing: it may be asked for again."""
    rows = Recall.objects.filter(patient__in=keys, state=RecallState.CLOSED, closed_by__isnull=False)
    fields = ("patient", "purpose", "subject", "rule", "of", "anchor", "number", "ground", "ended_on")
    for patient, *closed in rows.order_by("pk").values_list(*fields):
        yield patient, facts.Closed(*closed)
    for end in SeriesEnd.objects.filter(patient__in=keys).order_by("pk"):
        # A discharge names a series, not an occurrence; the core reads neither its anchor nor its number.
        about = (end.purpose, end.subject, end.rule, end.of)
        yield end.patient_id, facts.Closed(*about, end.ended_on, 1, "discharge", end.ended_on)  # type: ignore[arg-type]


def _overrides(keys: Keys) -> Iterator[tuple[int, facts.Override]]:
    """Gather own intervals and days that nobody ended; one that is past still stands in place of what it replaced."""
    rows = Override.objects.filter(patient__in=keys, ended_on__isnull=True).select_related("by")
    for row in rows.order_by("pk"):
        yield row.patient_id, override_fact(row)


def override_fact(row: Override) -> facts.Override:
    return facts.Override(
        # A row that is only supposed has no key yet.
        id=str(row.pk or "new"),
        purpose=row.purpose,  # type: ignore[arg-type]
        subject=row.subject,
        # It becomes a part of the plan's sentence, which brings its own full stop.
        reason=row.reason.rstrip(" ."),
        by=str(row.by),
        decided_on=row.decided_on,
        interval=row.interval or None,
        date=row.date,
        until=row.until,
    )
