"""Check the day of an event: from birth to today, and not after death."""

from datetime import date

from django.utils.translation import gettext as _

from clinic import clock
from clinic.models import Patient
from clinic.wording import Words


class WrongDay(ValueError):
    """Raised for a day on which nothing can have happened to this patient; the text says why."""


def check_day(patient: Patient, day: date, what: Words, *, after_death: bool = False) -> None:
    """Refuse a day to come, before birth, or after death unless what is owed outlives the patient (WrongDay)."""
    if day > clock.today():
        raise WrongDay(_("%(what)s lies in the future.") % {"what": what})
    if day < patient.born:
        raise WrongDay(_("%(what)s lies before the patient's birth.") % {"what": what})
    # A report may come and be told to the family after a death; a visit or a picture may not.
    if patient.died_on and day > patient.died_on and not after_death:
        raise WrongDay(_("%(what)s lies after the patient's death.") % {"what": what})
