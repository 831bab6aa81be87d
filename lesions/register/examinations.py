"""Record an examination that was ticked on a visit, like one on the page of the lesion: it answers its signs."""

from clinic.models import Visit
from lesions.models import Lesion, UrgentSign
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


def strike(visit: Visit) -> None:
    """Strike an examination with its visit: what it answered is open again."""
    UrgentSign.objects.filter(answered_by__visit=visit).update(answered_by=None)
