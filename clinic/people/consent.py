"""Whether a patient agrees to photographs for care: each answer is dated and kept, and can be taken back any time."""

from datetime import date

from django.db import transaction

from clinic import clock
from clinic.models import Member, Patient, PhotoConsent
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
    """Give the answer that counts today; None while nobody has asked."""
    return _answer_on(patient, clock.today())


def refused_on(patient: Patient, day: date) -> bool:
    """Say whether the patient did not agree on that day; where nobody asked, nothing was refused."""
    said = _answer_on(patient, day)
    return said is not None and not said.given


def _answer_on(patient: Patient, day: date) -> PhotoConsent | None:
    return patient.photo_consents.filter(on__lte=day).select_related("by").first()
