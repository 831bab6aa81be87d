"""Check the day of an event: from birth to today, and not after death."""

from datetime import date

from clinic import clock
from clinic.models import Patient


class WrongDay(ValueError):
    """Raised for a day on which nothing can have happened to this patient; the text says why."""


def check_day(patient: Patient, day: date, what: str, *, after_death: bool = False) -> None:
    """Refuse a day to come, before birth, or after death unless what is owed outlives the patient (WrongDay)."""
    if day > clock.today():
        raise WrongDay(f"{what} lies in the future.")
    if day < patient.born:
        raise WrongDay(f"{what} lies before the patient's birth.")
    if patient.died_on and day > patient.died_on and not after_death:
        raise WrongDay(f"{what} lies after the patient's death.")
