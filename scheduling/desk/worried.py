"""A worried patient rings: the words and the signs become urgent work at once, and a place the same day is booked."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, Patient
from clinic.models.visit import Purpose
from lesions.models import Lesion, Sign
from lesions.register import concerns, register
from scheduling.desk import booking, claims, lengths, places
from scheduling.desk.places import Place
from scheduling.models import Appointment, Recall, RecallState, Resource
from scheduling.planning import replan

_OFFERED = 8  # places that the page offers; a choice, no source
# The limit of an urgent sign: seen within 14 days (clinic setting, no source).
_LOOK_AHEAD = timedelta(days=14)


class WorryRefused(ValueError):
    """Raised where a worry cannot be noted so; the text is the sentence for the page, `field` what it is about."""

    def __init__(self, text: str, field: str) -> None:
        super().__init__(text)
        self.field = field


@dataclass(frozen=True)
class Noted:
    recall: Recall | None
    appointment: Appointment | None


@transaction.atomic
def note(
    *,
    patient: Patient,
    by: Member,
    words: str,
    signs: Iterable[str],
    lesion: Lesion | None = None,
    place: tuple[Resource, datetime] | None = None,
) -> Noted:
    """Note what the caller said about one lesion, or about none that is known, and book the place that was agreed."""
    require(by, Act.NOTE_SIGNS)
    # Who only says that they are worried is examined as well: nobody has to know the right word.
    heard = [sign for sign in Sign.values if sign in set(signs)] or [Sign.WORRY]
    if not words.strip():
        raise WorryRefused(_("Write down what was said, in the caller's words."), "words")
    for sign in heard:
        if lesion is None:
            concerns.note(patient=patient, by=by, sign=sign, words=words.strip())
        else:
            register.note_sign(lesion=lesion, by=by, sign=sign, words=words.strip())
    # Planned in the same breath: what is booked now is booked for the duty that this call opened.
    replan.replan_patient(patient.pk)
    recall = urgent_recall(patient, lesion)
    if place is None:
        return Noted(recall, None)
    if recall is None:
        raise booking.BookingRefused(_("Nothing can be booked for this record: look at the patient's page."))
    claims.hold(patient, by)
    made = booking.book(recalls=[recall], resource=place[0], starts_at=place[1], by=by)
    return Noted(recall, made)


def urgent_recall(patient: Patient, lesion: Lesion | None) -> Recall | None:
    """Find the duty to examine that follows from the call."""
    subject = f"lesion:{lesion.pk}" if lesion else "patient"
    rows = Recall.objects.filter(patient=patient, purpose=Purpose.LESION_EXAMINATION, subject=subject)
    rows = rows.filter(state__in=(RecallState.DUE, RecallState.PLANNED))
    return rows.select_related("patient").first()


def places_soon() -> list[Place]:
    """Find the first places for an examination, those of today first."""
    minutes, today = lengths.in_force()[Purpose.LESION_EXAMINATION], clock.today()
    return places.free(since=today, until=today + _LOOK_AHEAD, minutes=minutes, limit=_OFFERED)
