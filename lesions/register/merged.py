"""Two records become one, and two again: labels are told apart, and what is about a lesion stays beside it."""

from django.db.models import Max, Q

from clinic.merging.moving import Mover, give_back
from clinic.models import Merge
from lesions.models import Diagnosis, Examination, Lesion, Procedure, UrgentSign


def tell_labels_apart(mover: Mover) -> None:
    """Give the lesions of the record that is merged away new numbers where the survivor has the same ones."""
    taken = set(Lesion.objects.filter(patient=mover.survivor).values_list("label", flat=True))
    both = Lesion.objects.filter(patient__in=(mover.survivor, mover.gone))
    last = both.aggregate(Max("label"))["label__max"] or 0
    for lesion in Lesion.objects.filter(patient=mover.gone, label__in=taken).order_by("label"):
        last += 1
        mover.set(lesion, label=last)


def goes_along(merge: Merge) -> None:
    """Give back what was recorded since about a lesion or a procedure that goes back."""
    about = Q(lesion__patient=merge.gone_id)
    for model in (Procedure, Examination, UrgentSign, Diagnosis):
        if model is Diagnosis:
            about |= Q(procedure__patient=merge.gone_id)
        rows = model._base_manager.filter(about, patient=merge.survivor_id)
        give_back(merge, model, list(rows.values_list("pk", flat=True)))
