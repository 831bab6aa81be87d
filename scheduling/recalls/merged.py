"""Two records become one, and two again: of two open recalls for the same one stays, with the earlier day."""

from collections.abc import Callable

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.merging.moving import Mover, give_back
from clinic.models import Duty, Merge, Patient
from clinic.people.longer_waits import Wait
from clinic.trail import audit
from clinic.wording import Words
from lesions.models import Diagnosis, Lesion, Procedure
from scheduling.models import (
    OPEN,
    Appointment,
    AppointmentState,
    Claim,
    Override,
    PlanProblem,
    Recall,
    RecallState,
    SeriesEnd,
)
from scheduling.planning import rebook
from scheduling.planning.recall_update import PLANNED
from scheduling.recalls import longer_waits

_TWO_INTERVALS = _(
    "In both records a dermatologist set an own interval or day for the same: one of them is ended first."
)


def bars(survivor: Patient, gone: Patient) -> list[Words]:
    """Two own intervals for one purpose: a dermatologist says which holds, not the program."""
    theirs = Override.objects.filter(patient=gone, ended_on=None).values_list("purpose", "subject")
    same = [Q(purpose=purpose, subject=subject) for purpose, subject in theirs]
    ours = Override.objects.filter(patient=survivor, ended_on=None)
    return [_TWO_INTERVALS] if any(ours.filter(one).exists() for one in same) else []


def make_room(mover: Mover) -> None:
    """Leave one open recall for each purpose and subject; nobody works on a record that is merged away."""
    for claim in Claim.objects.filter(patient=mover.gone, by__isnull=False):
        mover.set(claim, by_id=None, since=None, touched_at=None)
    for row in PlanProblem.objects.filter(patient=mover.gone, gone_on=None):
        if PlanProblem.objects.filter(
            patient=mover.survivor, gone_on=None, code=row.code, subject=row.subject
        ):
            mover.leave(row)
    for recall in Recall.objects.filter(patient=mover.gone, state__in=OPEN).order_by("pk"):
        same = {"purpose": recall.purpose, "subject": recall.subject}
        kept = Recall.objects.filter(patient=mover.survivor, state__in=OPEN, **same).first()
        if kept is not None:
            _replace(mover, recall, kept)


def _replace(mover: Mover, recall: Recall, kept: Recall) -> None:
    """Have the survivor's own recall stand for both, by the earlier window; what was booked is booked for it."""
    if recall.latest < kept.latest:
        mover.set(kept, **{name: getattr(recall, name) for name in PLANNED})
    booked = Appointment.recalls.through.objects.filter(
        recall=recall, appointment__state=AppointmentState.BOOKED
    )
    for link in booked.order_by("pk"):
        mover.set(link, recall_id=kept.pk)
        mover.set(kept, state=RecallState.BOOKED)
    how = {"code": "merged", "number": mover.survivor.number}
    ended = {"ground": "superseded", "ended_how": how, "ended_on": clock.today()}
    mover.set(recall, state=RecallState.CLOSED, **ended)
    audit.record("recall.supersede", by=None, subject=recall, patient=mover.gone, how=how)
    rebook.look_at_bookings_of(kept)


def holds(merge: Merge, table: str, keys: list[int]) -> set[int]:
    """An appointment that has become a visit of the survivor stays beside that visit."""
    if table != Appointment._meta.db_table:
        return set()
    rows = Appointment.objects.filter(pk__in=keys, visit__patient=merge.survivor_id)
    back = merge.moved.filter(kept_in="clinic_visit").values("row")
    return set(rows.exclude(visit__in=back).values_list("pk", flat=True))


def goes_along(merge: Merge) -> None:
    """Give back what was asked, set or owed since about a lesion, a procedure or a result that goes back."""
    subjects = _subjects(merge)
    for model in (Recall, PlanProblem, Override, SeriesEnd, Duty):
        rows = model._base_manager.filter(patient=merge.survivor_id, subject__in=subjects)
        give_back(merge, model, list(rows.order_by("pk").values_list("pk", flat=True)))
    _part_bookings(merge)


def _subjects(merge: Merge) -> list[str]:
    found = []
    for name, model in (("lesion", Lesion), ("procedure", Procedure), ("diagnosis", Diagnosis)):
        keys = model._base_manager.filter(patient=merge.gone_id).values_list("pk", flat=True)
        found += [f"{name}:{key}" for key in keys]
    visits = Appointment.objects.filter(patient=merge.gone_id).values_list("pk", flat=True)
    return [*found, *(f"appointment:{key}" for key in visits)]


def _part_bookings(merge: Merge) -> None:
    """A visit that one of the two has booked is no booking of the other's recall, which is due again."""
    links = Appointment.recalls.through.objects.filter(appointment__state=AppointmentState.BOOKED)
    for one, other in ((merge.survivor_id, merge.gone_id), (merge.gone_id, merge.survivor_id)):
        mixed = links.filter(appointment__patient=one, recall__patient=other)
        for link in mixed.select_related("recall"):
            recall = link.recall
            link.delete()
            if recall.state == RecallState.BOOKED and not recall.appointments.filter(state="booked").exists():
                Recall.objects.filter(pk=recall.pk).update(state=RecallState.DUE)


def look_at_both(survivor: Patient, gone: Patient) -> Callable[[], list[Wait]]:
    """Look at the days of two records before they become one; what it returns is called afterwards."""
    return longer_waits.of_two(survivor, gone)


def look_at_parting(merge: Merge) -> Callable[[], list[Wait]]:
    """Look at the days of one record before it becomes two again."""
    return longer_waits.of_parted(merge.survivor, merge.gone)
