"""What finished a recall: an item done in a visit, a picture, an examination, or a result that was told."""

from dataclasses import dataclass
from datetime import date

from clinic.models import DoneItem, Purpose
from lesions.models import Diagnosis, Image, Lesion, SignOff
from scheduling.models import Recall

_REMOVES = ("biopsy", "excise", "already_removed")


@dataclass(frozen=True)
class Completion:
    on: date
    words: str
    item: DoneItem | None = None
    evidence: str = ""


def find_completion(recall: Recall) -> Completion | None:
    """The first thing done since the window opened that finishes this recall; None if there is nothing."""
    return _item(recall) or _OTHER_WAYS.get(recall.purpose, _none)(recall)


def _item(recall: Recall) -> Completion | None:
    items = DoneItem.objects.filter(purpose=recall.purpose, subject=recall.subject)
    found = items.filter(visit__patient_id=recall.patient_id, visit__attended_on__gte=recall.earliest)
    item = found.select_related("visit").order_by("visit__attended_on", "pk").first()
    return Completion(item.visit.attended_on, "done in a visit", item=item) if item else None


def _none(recall: Recall) -> None:
    return None


def _picture(recall: Recall) -> Completion | None:
    taken = Image.objects.filter(lesion_id=_key(recall), taken_on__gte=recall.earliest)
    row = taken.order_by("taken_on", "pk").first()
    return (
        Completion(row.taken_on, "the picture was taken", evidence=f"lesions.image:{row.pk}") if row else None
    )


def _examination(recall: Recall) -> Completion | None:
    lesion = Lesion.objects.filter(pk=_key(recall)).first()
    if lesion is None:
        return None
    seen = lesion.examined_in_person_on
    if seen and seen >= recall.anchor:
        return Completion(seen, "examined in person", evidence=f"lesions.lesion:{lesion.pk}")
    signed = SignOff.objects.filter(lesion=lesion, decision__in=_REMOVES, signed_on__gte=recall.anchor).last()
    if lesion.state != "removed" or signed is None:
        return None
    return Completion(signed.signed_on, "removed as decided", evidence=f"lesions.signoff:{signed.pk}")


def _told(recall: Recall) -> Completion | None:
    told = Diagnosis.objects.filter(
        patient_id=recall.patient_id, procedure=_key(recall), told_on__gte=recall.earliest
    )
    row = told.order_by("told_on", "pk").first()
    return (
        Completion(row.told_on, "the result was told", evidence=f"lesions.diagnosis:{row.pk}")
        if row
        else None
    )


def _key(recall: Recall) -> int:
    _, _, key = recall.subject.partition(":")
    return int(key) if key.isdecimal() else 0


_OTHER_WAYS = {
    Purpose.LESION_IMAGE: _picture,
    Purpose.LESION_EXAMINATION: _examination,
    Purpose.RESULT_VISIT: _told,
}
