"""Record an examination that was ticked on a visit, and find those that stand in place of a picture."""

from django.db.models import OuterRef, QuerySet, Subquery

from clinic.models import PhotoConsent, Visit
from lesions.models import Examination, Lesion, UrgentSign
from lesions.register import register


def of_visit(visit: Visit, subject: str) -> None:
    """Record what was examined in this visit: the lesion, or the skin that the patient was worried about."""
    kind, _, key = subject.partition(":")
    if kind == "lesion":
        # Of this patient only: the subject comes from a form.
        lesion = register.lock(Lesion.objects.only("pk").get(pk=key, patient=visit.patient_id).pk)
        register.answer_signs(
            lesion=lesion, by=visit.by, on=visit.attended_on, outcome=visit.note, visit=visit
        )
    else:
        register.answer_concerns(visit=visit)


def in_place_of_pictures() -> QuerySet[Examination]:
    """Find examinations of lesions whose patient had said no to photographs: such a look is what the picture would be.

    What was said after an examination counts for later ones only: an answer of today moves no day that was planned.
    """
    said = PhotoConsent.objects.filter(
        patient=OuterRef("patient"), on__lte=OuterRef("examined_on"), at__lte=OuterRef("recorded_at")
    )
    agrees = Subquery(said.order_by("-on", "-pk").values("given")[:1])
    # What was taken back was not seen, however the row still reads.
    rows = Examination.objects.filter(visit__struck_at__isnull=True, signoff__revoked__isnull=True)
    return rows.exclude(lesion=None).alias(agrees=agrees).filter(agrees=False)


def strike(visit: Visit) -> None:
    """Strike an examination with its visit: what it answered is open again."""
    UrgentSign.objects.filter(answered_by__visit=visit).update(answered_by=None)
