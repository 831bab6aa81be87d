"""Open again what a visit or a signature completed that is taken back, unless somebody already acted on it."""

from typing import Any

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from clinic import clock
from clinic.models import Visit, change
from clinic.people.visits import VisitRefused
from clinic.trail import audit
from clinic.wording import write_day
from lesions.models import Diagnosis, Examination, Procedure, SignOff
from lesions.results.report_checks import ResultRefused
from lesions.review.signoff import SignOffRefused
from scheduling.models import OPEN, Appointment, Recall, RecallState
from scheduling.planning.replan import supersede


def reopen_completed(visit: Visit) -> None:
    """Open again what a visit completed. Raises VisitRefused where what came next is booked."""
    _reopen_all(_completed_by(visit), "visit_taken_back", VisitRefused)


def reopen_decided(signed: SignOff) -> None:
    """Open again what a signature settled. Raises SignOffRefused where its recall, or what came next, is booked."""
    about = Appointment.objects.filter(recalls__subject=f"lesion:{signed.lesion_id}", state="booked")
    # What was booked before the signature was promised for another reason, and stays.
    made = about.filter(changed_at__gte=signed.signed_at).select_related("booked_by").first()
    if made:
        when = timezone.localtime(made.starts_at)
        raise SignOffRefused(
            _("%(who)s has booked %(day)s for it since.")
            % {"who": made.booked_by, "day": write_day(when.date())}
        )
    _reopen_all(_decided_by(signed), "signature_taken_back", SignOffRefused)


def reopen_done_by(row: Procedure | Diagnosis) -> None:
    """Open again what a row recorded in error had completed. Raises ResultRefused where what came next is booked."""
    found = Recall.objects.filter(evidence=audit.subject_of(row), state=RecallState.COMPLETED)
    rows = list(found.select_related("patient").order_by("-pk"))
    _reopen_all(rows, "recorded_in_error", ResultRefused)


def _decided_by(signed: SignOff) -> list[Recall]:
    rows = [audit.subject_of(signed)]
    rows += [audit.subject_of(seen) for seen in Examination.objects.filter(signoff=signed)]
    found = Recall.objects.filter(evidence__in=rows, state=RecallState.COMPLETED)
    return list(found.select_related("patient").order_by("-pk"))


def _reopen_all(recalls: list[Recall], why: str, refused: type[ValueError]) -> None:
    for recall in recalls:
        later = Recall.objects.filter(
            patient=recall.patient, purpose=recall.purpose, subject=recall.subject, state__in=OPEN
        )
        for following in later.select_related("patient"):
            if following.state == RecallState.BOOKED:
                # Somebody has promised the patient a day by now; that person must first be asked.
                raise refused(_("What follows from it is booked already: cancel that first."))
            supersede(following, code=why)
        _reopen(recall, why)


def _completed_by(visit: Visit) -> list[Recall]:
    seen = [f"lesions.examination:{pk}" for pk in visit.examinations.values_list("pk", flat=True)]
    found = Recall.objects.filter(Q(completed_by__visit=visit) | Q(evidence__in=seen))
    # The last first: each takes back what followed from it, and that may be the next one here.
    return list(found.filter(state=RecallState.COMPLETED).select_related("patient").order_by("-pk"))


def _reopen(recall: Recall, why: str) -> None:
    fresh: dict[str, Any] = {
        "completed_by": None,
        "evidence": "",
        "ended_on": None,
        "ground": "",
        "ended_how": {},
    }
    # Planned for now: the facts have changed, so the plan is made again and says whether it is due.
    change(recall, seen=recall.revision, at=clock.now(), state=RecallState.PLANNED, **fresh)
    audit.record("recall.reopen", by=None, subject=recall, patient=recall.patient, why=why)
