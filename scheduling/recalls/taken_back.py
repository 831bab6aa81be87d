"""A visit is taken back: what it completed is owed again with its original dates, unless somebody acted on it."""

from django.db.models import Q

from clinic import clock
from clinic.models import Visit, change
from clinic.people.visits import VisitRefused
from clinic.trail import audit
from scheduling.models import OPEN, Recall, RecallState
from scheduling.planning.replan import supersede


def reopen_completed(visit: Visit) -> None:
    """Before the items of the visit go. Raises VisitRefused where what came next is booked."""
    for recall in _completed_by(visit):
        later = Recall.objects.filter(
            patient=recall.patient, purpose=recall.purpose, subject=recall.subject, state__in=OPEN
        )
        for following in later.select_related("patient"):
            if following.state == RecallState.BOOKED:
                raise VisitRefused("What follows from it is booked already: cancel that first.")
            supersede(following, "the visit before it was taken back")
        _reopen(recall)


def _completed_by(visit: Visit) -> list[Recall]:
    seen = [f"lesions.examination:{pk}" for pk in visit.examinations.values_list("pk", flat=True)]
    found = Recall.objects.filter(Q(completed_by__visit=visit) | Q(evidence__in=seen))
    return list(found.filter(state=RecallState.COMPLETED).select_related("patient").order_by("-pk"))


def _reopen(recall: Recall) -> None:
    fresh = {"completed_by": None, "evidence": "", "ended_on": None, "ground": "", "ground_note": ""}
    change(recall, seen=recall.revision, at=clock.now(), state=RecallState.PLANNED, **fresh)
    why = "the visit was taken back"
    audit.record("recall.reopen", by=None, subject=recall, patient=recall.patient, why=why)
