"""A visit records what was done: attendance alone completes nothing."""

from collections.abc import Iterable
from datetime import date

from django.db import transaction

from clinic import clock
from clinic.models import DoneItem, Member, Patient, Purpose, Visit
from clinic.models.visit import ABOUT, is_about
from clinic.record_days import check_day
from clinic.trail import audit


@transaction.atomic
def record(
    *, patient: Patient, by: Member, attended_on: date, done: Iterable[tuple[str, str]] = (), note: str = ""
) -> Visit:
    """`done` holds pairs (purpose, subject) of FACTS, such as ("lesion_image", "lesion:12").

    Raises WrongDay where the visit cannot have been on that day.
    """
    check_day(patient, attended_on, "The visit")
    done = list(dict.fromkeys(done))
    _check(done)
    visit = Visit.objects.create(
        patient=patient, by=by, attended_on=attended_on, note=note, changed_at=clock.now()
    )
    items = [DoneItem(visit=visit, purpose=purpose, subject=subject) for purpose, subject in done]
    DoneItem.objects.bulk_create(items)
    what = [[item.purpose, item.subject] for item in items]
    audit.record(
        "visit.record", by=by, subject=visit, patient=patient, attended_on=str(attended_on), done=what
    )
    return visit


def _check(done: Iterable[tuple[str, str]]) -> None:
    """An item about the wrong thing would complete nothing, and nobody would see it."""
    for purpose, subject in done:
        if not is_about(purpose, subject):
            raise ValueError(f"{purpose} is done for a {ABOUT[Purpose(purpose)]}, not for {subject}.")
