"""A second reading by somebody outside, without an account: who was asked, what they said, and who entered it.

It decides nothing: the lesion goes on waiting in Decisions, and whoever signs there has read the answer.
"""

from datetime import date
from typing import Final

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger
from clinic.models import Member
from clinic.trail import audit
from lesions.models import OutsideAnswer, OutsideReading, Review, ReviewState
from lesions.review import owed

HEAR: Final = "hear_outside"


class OutsideRefused(ValueError):
    """Raised where nobody can be asked, or an answer cannot be entered; the text is the sentence for the page."""


@transaction.atomic
def ask(*, review: Review, by: Member, reader: str, place: str, question: str = "") -> OutsideReading:
    """Name who is asked, which is owed an answer by a day of its own. The lesion waits on. Raises OutsideRefused."""
    require(by, Act.SIGN_OFF)
    if review.state != ReviewState.WAITING:
        raise OutsideRefused(_("Nothing waits here any more: nobody outside need be asked."))
    if not (reader.strip() and place.strip()):
        raise OutsideRefused(_("Name the reader, and where they work."))
    named = {"reader": reader.strip(), "place": place.strip(), "question": question.strip()}
    row = OutsideReading.objects.create(
        review=review, lesion=review.lesion, asked_by=by, asked_at=clock.now(), **named
    )
    said = {"reader": row.reader, "place": row.place}
    audit.record("outside.ask", by=by, subject=row, patient=review.lesion.patient, **said)
    _wait_for(row, urgent=review.urgent)
    return row


@transaction.atomic
def answer(*, reading: OutsideReading, by: Member, said_on: date, words: str) -> OutsideAnswer:
    """Enter what the reader said, with its day. It signs nothing. Raises OutsideRefused."""
    require(by, Act.SIGN_OFF)
    if not words.strip():
        raise OutsideRefused(_("Write what the reader said."))
    if not timezone.localtime(reading.asked_at).date() <= said_on <= clock.today():
        raise OutsideRefused(_("The day of the answer lies between the question and today."))
    row = OutsideAnswer.objects.create(
        reading=reading, said_on=said_on, words=words.strip(), entered_by=by, entered_at=clock.now()
    )
    patient = reading.lesion.patient
    audit.record(
        "outside.answer", by=by, subject=reading, patient=patient, said_on=str(said_on), answer=row.pk
    )
    ledger.end_all([HEAR], by=by, evidence=row, opened_from=reading, patient=patient)
    return row


def _wait_for(reading: OutsideReading, *, urgent: bool) -> None:
    lesion = reading.lesion
    # Its owner asked; on leave, the list says so and everybody who signs may end it.
    ledger.open_duty(
        HEAR,
        patient=lesion.patient,
        opened_from=reading,
        by=reading.asked_by,
        subject=f"lesion:{lesion.pk}",
        urgent=urgent,
        owner=reading.asked_by,
        note=reading.reader,
    )


def undecided(lesion_id: int) -> QuerySet[OutsideReading]:
    """Find who was asked since the lesion was last decided on: whoever signs now is to know it."""
    return about(lesion_id).exclude(review__signoff__in=owed.deciding())


def about(lesion_id: int) -> QuerySet[OutsideReading]:
    """Find who was asked about this lesion, with their answers."""
    rows = OutsideReading.objects.filter(lesion=lesion_id).select_related("asked_by")
    return rows.prefetch_related("answers__entered_by")
