"""One question for all that the head of the decision page says, so that the page asks few whatever the record holds."""

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from clinic.models import DoneItem, Member, Patient, Purpose, RiskAssessment
from lesions.models import UNFINISHED, Assessment, Draft, OutsideReading, PictureMove, Review
from lesions.register import register


def reviews_for(member: Member) -> QuerySet[Review]:
    """Find reviews with what their page needs; what is rare is only told apart, and asked for where it is there."""
    near = Review.objects.select_related(
        "lesion__patient",
        "assessment__image__uploaded_by",
        "assessment__drawn_by",
        "comparison__earlier__image",
        "signoff__by",
        "signoff__revoked",
    ).prefetch_related("flags")
    return near.annotate(**_of_the_patient(), **_of_the_lesion(member))


def _of_the_patient() -> dict[str, Subquery | Exists]:
    patient = OuterRef("lesion__patient")
    risk = RiskAssessment.objects.filter(patient=patient).order_by("-assessed_on", "-pk")
    checks = DoneItem.objects.filter(
        visit__patient=patient,
        visit__struck_at=None,
        purpose=Purpose.FULL_SKIN_CHECK,
        subject="patient",
        # One order for both answers: the day of the last check and what it left out must come from the same visit.
    ).order_by("-visit__attended_on", "-pk")
    alike = Patient.objects.filter(
        folded_family=OuterRef("lesion__patient__folded_family"), merged_into__isnull=True
    )
    return {
        "tier": Subquery(risk.values("tier")[:1]),
        "checked_on": Subquery(checks.values("visit__attended_on")[:1]),
        "left_out": Subquery(checks.values("not_seen")[:1]),
        "has_namesake": Exists(alike.filter(~Q(pk=patient))),
    }


def _of_the_lesion(member: Member) -> dict[str, Exists]:
    lesion = OuterRef("lesion")
    measured = Assessment.objects.filter(image__lesion=lesion, state__in=UNFINISHED)
    return {
        "has_signs": Exists(register.examinations_wanted().filter(lesion=lesion)),
        "has_moves": Exists(PictureMove.objects.filter(from_lesion=lesion)),
        "has_outside": Exists(OutsideReading.objects.filter(lesion=lesion)),
        "is_measured": Exists(measured),
        "has_draft": Exists(Draft.objects.filter(review=OuterRef("pk"), member=member.pk)),
    }
