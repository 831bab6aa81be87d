"""Find what finished a recall: an item done in a visit, a picture, an examination, or a result that was told."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from clinic.models import DoneItem, Purpose, Step
from lesions.models import Diagnosis, Examination, Image, SignOff, UrgentSign
from lesions.register import examinations
from lesions.review import owed
from scheduling.models import Recall


@dataclass(frozen=True)
class Completion:
    on: date
    code: str
    item: DoneItem | None = None
    evidence: str = ""


def find_completion(recall: Recall) -> Completion | None:
    """Find the first thing done since the window opened that finishes this recall; None if there is nothing."""
    if recall.of.startswith("decision:") and recall.purpose == Purpose.LESION_EXAMINATION:
        return _decided(int(recall.of.partition(":")[2]))  # a tick on a visit cuts nothing out
    return _item(recall) or _OTHER_WAYS.get(recall.purpose, _none)(recall)


def _item(recall: Recall) -> Completion | None:
    items = DoneItem.objects.filter(purpose=recall.purpose, subject=recall.subject)
    found = items.filter(visit__patient_id=recall.patient_id, visit__attended_on__gte=recall.earliest)
    item = found.select_related("visit").order_by("visit__attended_on", "pk").first()
    return Completion(item.visit.attended_on, "visit", item=item) if item else None


def _none(recall: Recall) -> Completion | None:
    return None


def _picture(recall: Recall) -> Completion | None:
    taken = Image.objects.filter(lesion_id=_key(recall), taken_on__gte=recall.earliest)
    # A picture that nobody can judge is no look at the lesion: the next one is still owed.
    taken = taken.exclude(pk__in=owed.unusable_pictures().filter(lesion=_key(recall)))
    row = taken.order_by("taken_on", "pk").first()
    if row:
        return Completion(row.taken_on, "picture", evidence=f"lesions.image:{row.pk}")
    seen = examinations.in_place_of_pictures().filter(
        lesion_id=_key(recall), examined_on__gte=recall.earliest
    )
    return _by_examination(seen.order_by("examined_on", "pk").first())


def _examination(recall: Recall) -> Completion | None:
    kind, _, key = recall.of.partition(":")
    if kind in ("sign", "concern"):
        return _answered(int(key))
    if kind == "decision":
        return _decided(int(key))
    seen = Examination.objects.filter(lesion_id=_key(recall), examined_on__gte=recall.earliest)
    # What was taken back was not seen, however the row still reads.
    seen = seen.filter(visit__struck_at__isnull=True, signoff__revoked__isnull=True)
    return _by_examination(seen.order_by("examined_on", "pk").first())


def _answered(sign_id: int) -> Completion | None:
    sign = UrgentSign.objects.select_related("answered_by").filter(pk=sign_id).first()
    return _by_examination(sign.answered_by if sign else None)


def _by_examination(row: Examination | None) -> Completion | None:
    if row is None:
        return None
    return Completion(row.examined_on, "examined", evidence=f"lesions.examination:{row.pk}")


def _decided(signoff_id: int) -> Completion | None:
    """Find what did as decided: a procedure of that lesion, or a later signature that replaces the decision."""
    signed = SignOff.objects.get(pk=signoff_id)
    cut = signed.lesion.procedures.filter(on__gte=signed.signed_on).order_by("on", "pk").first()
    if cut is not None:
        return Completion(cut.on, "as_decided", evidence=f"lesions.procedure:{cut.pk}")
    later = owed.deciding().filter(lesion=signed.lesion_id, pk__gt=signed.pk).order_by("pk").last()
    if later is None:
        return None
    return Completion(later.signed_on, "otherwise", evidence=f"lesions.signoff:{later.pk}")


def _told(recall: Recall) -> Completion | None:
    told = Diagnosis.objects.filter(
        patient_id=recall.patient_id, procedure=_key(recall), told_on__gte=recall.earliest
    )
    row = told.order_by("told_on", "pk").first()
    if row and row.told_on:
        return Completion(row.told_on, "told", evidence=f"lesions.diagnosis:{row.pk}")
    further = told_steps().filter(duty__subject=recall.subject, on__gte=recall.earliest)
    step = further.order_by("on", "pk").first()
    return Completion(step.on, "told", evidence=f"clinic.step:{step.pk}") if step else None


def told_steps() -> QuerySet[Step]:
    """Find the entries by which a further report was told, such as that of a wider excision."""
    told = Step.objects.filter(duty__kind="tell", outcome="told", struck__isnull=True)
    return told.filter(duty__subject__startswith="procedure:")


def _key(recall: Recall) -> int:
    _, _, key = recall.subject.partition(":")
    return int(key) if key.isdecimal() else 0


_OTHER_WAYS: dict[str, Callable[[Recall], Completion | None]] = {
    Purpose.LESION_IMAGE: _picture,
    Purpose.LESION_EXAMINATION: _examination,
    Purpose.RESULT_VISIT: _told,
}
