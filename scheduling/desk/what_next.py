"""Decide how far the desk may put a call off, and when a dermatologist decides what follows (clinic setting)."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, TypeVar

from django.db import models, transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic import clock
from clinic.access import Act, may
from clinic.duties import ledger, limits, steps
from clinic.models import Duty, Member
from scheduling.models import OPEN, Appointment, AppointmentState, ContactAttempt, Recall, Urgency
from scheduling.planning import ladder
from scheduling.recalls import closing
from scheduling.recalls.asked import KIND, asked_about, waiting_about

# By a dermatologist's word or ground; one that was only withdrawn with a wrong entry answers nothing.
_ANSWERED = Q(evidence__startswith="clinic.step:") | ~Q(ground="")

_Row = TypeVar("_Row", bound=models.Model)


def furthest_day(recall: Recall, by: Member) -> date:
    """Give the last day to which this member may put a call off.

    The last day of the window; past it, and where it is urgent, the next working day. A dermatologist: 90 days.
    """
    today = clock.today()
    if may(by, Act.CLOSE_RECALLS):
        return today + timedelta(days=ladder.LOOK_AGAIN_DAYS)
    # Past its window every day counts: put off is put off till tomorrow.
    next_working_day = limits.working_days_after(today, 1)
    if recall.urgency == Urgency.A:
        return next_working_day
    return recall.latest if recall.latest > today else next_working_day


def standing(recall: Recall) -> QuerySet[ContactAttempt]:
    """Find the attempts that nobody has struck through."""
    return ContactAttempt.objects.filter(recall=recall, struck__isnull=True)


def tried(recall: Recall) -> int:
    """Count the attempts since a dermatologist last said what follows."""
    return _unanswered(recall, standing(recall).filter(counts=True), "at").count()


def _unanswered(recall: Recall, rows: QuerySet[_Row], moment: str) -> QuerySet[_Row]:
    """Leave out what lies before the last word of a dermatologist on this recall."""
    answered = asked_about(recall).filter(_ANSWERED).order_by("-ended_at").first()
    return rows.filter(**{f"{moment}__gt": answered.ended_at}) if answered else rows


def ask_after_attempt(attempt: ContactAttempt) -> None:
    """Ask a dermatologist what follows after “declined” or a used-up ladder; the recall stays open and on its list."""
    recall = attempt.recall
    if attempt.outcome == "declined":
        _ask(recall, attempt, attempt.by, "declined")
    elif attempt.counts and tried(recall) >= ladder.ladder_of(recall.urgency).attempts:
        _ask(recall, attempt, attempt.by, "attempts_used_up")


def ask_if_used_up(recall: Recall, attempts: int) -> None:
    """Ask about a recall whose attempts a new ladder uses up, because of the last one."""
    last = standing(recall).filter(counts=True).order_by("at", "pk").last()
    if last is not None and tried(recall) >= attempts:
        _ask(recall, last, last.by, "attempts_used_up")


@transaction.atomic
def look_again(*, recall: Recall, by: Member, revision: int, next_look_on: date, note: str) -> Recall:
    """Let a recall rest until a day, by a dermatologist: off today's list, and what was asked about it is answered."""
    closing.mark_unreachable(recall=recall, by=by, revision=revision, next_look_on=next_look_on, note=note)
    # Kept as a day and a word; who reads it later may read another language.
    said: dict[str, Any] = {"outcome": "decided", "words": note, "until": next_look_on}
    for duty in waiting_about(recall):
        steps.settle(duty=duty, by=by, revision=duty.revision, **said)
    return recall


def ask_after_missed(appointment: Appointment, by: Member) -> None:
    """Ask a dermatologist what follows after a second missed visit for the same recall, or if nobody brought them."""
    for row in appointment.recalls.select_related("patient"):
        _ask_of_missed(row, appointment, by)


def _ask_of_missed(recall: Recall, appointment: Appointment, by: Member) -> None:
    if appointment.not_brought:
        _ask(recall, appointment, by, "not_brought")
    # Who depends on others did not stay away by choice, so nobody waits for a second time; for all others one does.
    elif recall.appointments.filter(state=AppointmentState.MISSED).count() > 1:
        _ask(recall, appointment, by, "missed_again")


def ask_what_still_stands(recall: Recall, by: Member) -> None:
    """Ask again where a question was withdrawn: of several attempts or missed visits only the first had asked."""
    if recall.state not in OPEN:
        return
    for attempt in _unanswered(recall, standing(recall), "at").order_by("-at", "-pk"):
        ask_after_attempt(attempt)
    missed = recall.appointments.filter(state=AppointmentState.MISSED).order_by("-changed_at", "-pk")
    for appointment in _unanswered(recall, missed, "changed_at"):
        _ask_of_missed(recall, appointment, by)


def _of_reaching(**about: Any) -> QuerySet[Duty]:
    # Lesions and reports open the same kind of duty; those are not about reaching somebody.
    return Duty.objects.filter(kind=KIND, opened_from__startswith="scheduling.", **about)


def was_asked() -> Exists:
    """Ask of each recall whether a dermatologist was ever asked about its patient: of most of them nobody was."""
    return Exists(_of_reaching(patient=OuterRef("patient")))


def said_about(patients: Iterable[int]) -> dict[tuple[int, str], list[dict[str, Any]]]:
    """Find by patient and subject what was asked of a dermatologist, and the word that answered it, if one did."""
    asked = _of_reaching(patient__in=patients)
    answered = Q(steps__isnull=False, steps__struck__isnull=True) | ~Q(ground="")
    asked = asked.filter(Q(ended_at__isnull=True) | answered)
    found: dict[tuple[int, str], list[dict[str, Any]]] = {}
    said = ("steps__words", "steps__outcome", "steps__until")
    names = ("pk", "patient_id", "subject", "because", "ended_at", "end_note", "ended_by__name", *said)
    # Sorted here: asked for in the order of the keys, SQLite walks through every duty there ever was.
    for row in sorted(asked.order_by().values(*names), key=lambda row: row["pk"]):
        found.setdefault((row["patient_id"], row["subject"]), []).append(row)
    return found


def _ask(recall: Recall, because: models.Model, by: Member, why: str) -> None:
    # One question at a time: the next call would ask the same dermatologist the same.
    if waiting_about(recall).exists():
        return
    ledger.open_duty(
        KIND,
        patient=recall.patient,
        opened_from=because,
        by=by,
        subject=recall.subject,
        urgent=recall.urgency == Urgency.A,
        because={"code": why, "purpose": recall.purpose},
    )
