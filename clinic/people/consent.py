"""Whether a patient agrees to photographs for care: each answer is dated and kept, and can be taken back any time.

Of two merged records whose answers differ the stricter holds until the patient is asked again (common practice, no
source); a merge keeps which refusal that is.
"""

from collections.abc import Iterable
from datetime import date

from django.db import transaction
from django.db.models import DateTimeField, Exists, ExpressionWrapper, OuterRef, QuerySet
from django.db.models.functions import TruncDate

from clinic import clock
from clinic.models import Member, Merge, Patient, PhotoConsent
from clinic.people import wording
from clinic.trail import audit
from clinic.trail.record_days import check_day


@transaction.atomic
def record(*, patient: Patient, by: Member, given: bool, on: date, words: str = "") -> PhotoConsent:
    """Note what the patient answered on a day; `words`: how, or who answered for them. Raises WrongDay."""
    check_day(patient, on, wording.THE_ANSWER)
    said = {"given": given, "on": on, "words": words.strip()}
    row = PhotoConsent.objects.create(patient=patient, by=by, at=clock.now(), **said)
    audit.record("patient.photo_consent", by=by, subject=row, patient=patient, given=given, on=str(on))
    return row


def current(patient: Patient) -> PhotoConsent | None:
    """Give the answer that counts today, `disputed` where two records differ; None while nobody has asked."""
    return _answers([patient.pk], clock.today()).first()


def current_of(patients: Iterable[int]) -> dict[int, PhotoConsent]:
    """Give the answer that counts today of many, by the key of the patient."""
    found: dict[int, PhotoConsent] = {}
    for row in _answers(patients, clock.today()):
        found.setdefault(row.patient_id, row)
    return found


def refused_on(patient: Patient, day: date) -> bool:
    """Say whether the patient did not agree on that day; where nobody asked, nothing was refused."""
    said = _answers([patient.pk], day).first()
    return said is not None and not said.given


def stricter(survivor: Patient, gone: Patient) -> PhotoConsent | None:
    """Give the refusal that holds once these two are one record; None where their answers do not differ."""
    found = current_of([survivor.pk, gone.pk])
    ours, theirs = found.get(survivor.pk), found.get(gone.pk)
    if not differ(ours, theirs):
        return None
    return ours if ours and not ours.given else theirs


def differ(ours: PhotoConsent | None, theirs: PhotoConsent | None) -> bool:
    """Say whether two records, made one, would carry two answers: theirs differ, or one of them has two already."""
    said = [row for row in (ours, theirs) if row]
    return len({row.given for row in said}) > 1 or any(row.disputed for row in said)  # type: ignore[attr-defined]


def _answers(patients: Iterable[int], day: date) -> QuerySet[PhotoConsent]:
    """Order the answers up to a day: what a merge left in dispute first, then the latest."""
    rows = PhotoConsent.objects.filter(patient__in=patients, on__lte=day)
    # Asked again: of a day since the merge, and written down after it.
    again = PhotoConsent.objects.filter(patient=OuterRef("survivor"), at__gt=OuterRef("at"), on__lte=day)
    merged_at = ExpressionWrapper(OuterRef("at"), output_field=DateTimeField())
    again = again.filter(on__gte=TruncDate(merged_at))
    merges = Merge.objects.filter(photographs=OuterRef("pk"), survivor=OuterRef("patient"), undone=None)
    disputed = Exists(merges.filter(~Exists(again)))
    return rows.annotate(disputed=disputed).select_related("by").order_by("-disputed", "-on", "-pk")
