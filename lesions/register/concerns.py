"""A caller's concern about the skin, where no lesion of it is on record: urgent work like a sign of a lesion."""

from django.db import transaction

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, Patient
from clinic.trail import audit
from lesions.models import Sign, UrgentSign
from lesions.register import register


@transaction.atomic
def note(*, patient: Patient, by: Member, sign: str, words: str = "") -> UrgentSign:
    """Note a caller's concern; the same words count once a day, until an examination in person has answered them."""
    require(by, Act.NOTE_SIGNS)
    if sign not in Sign.values:
        raise ValueError("no sign of the list")
    # Told three times in one day it is one concern; told again after an examination, or otherwise, it is a new one.
    row, new = UrgentSign.objects.get_or_create(
        patient=patient,
        lesion=None,
        sign=sign,
        noted_on=clock.today(),
        words=words,
        answered_by=None,
        defaults={"by": by},
    )
    if new:
        audit.record("lesion.concern", by=by, subject=row, patient=patient, sign=sign, words=words)
        # Nothing is planned for a record that has ended: a dermatologist is asked at once.
        register.ask_about_ended_record(row, by)
    return row
