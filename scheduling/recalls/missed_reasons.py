"""Say in the database why each recall that is past its last day is late, so that a reason can be counted and paged."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from django.db.models import Case, CharField, Exists, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext_lazy

from clinic.models import Patient, PatientStatus
from clinic.tally.kept_answers import columns_of
from clinic.wording import Words
from scheduling.models import (
    OPEN,
    Appointment,
    AppointmentState,
    ClosureDay,
    ContactAttempt,
    Outcome,
    Recall,
    Session,
)

REASONS: Mapping[str, Words] = {
    "booked": gettext_lazy("booked, too late"),
    "no_outcome": gettext_lazy("nobody wrote down whether they came"),
    "proposed": gettext_lazy("closing was proposed"),
    "missed_visit": gettext_lazy("missed the visit"),
    "cancelled_by_us": gettext_lazy("cancelled by us"),
    "cancelled_by_patient": gettext_lazy("cancelled by the patient"),
    "declined": gettext_lazy("does not want to come"),
    "asks_later": gettext_lazy("asks to be called later"),
    "reached": gettext_lazy("reached, not booked"),
    "not_reached": gettext_lazy("not reached"),
    "no_slot": gettext_lazy("no bookable hours in the window"),
    "not_called": gettext_lazy("not yet called"),
}
SPOKE = (Outcome.SPOKE, Outcome.SPOKE_AUTHORISED, Outcome.ASKS_LATER, Outcome.DECLINED)
# The oldest first.
ORDER = ("latest", "urgency", "pk")
_BY_STATE = {
    AppointmentState.MISSED: "missed_visit",
    AppointmentState.CANCELLED_BY_CLINIC: "cancelled_by_us",
    AppointmentState.CANCELLED_BY_PATIENT: "cancelled_by_patient",
}


def late(today: date) -> QuerySet[Recall]:
    """Find recalls past their last day, the oldest first."""
    active = Patient.objects.filter(
        pk=OuterRef("patient"), status=PatientStatus.ACTIVE, merged_into__isnull=True
    )
    # Each late recall is asked for its patient: by a join a database may walk through all patients instead.
    rows = Recall.objects.filter(Exists(active), state__in=OPEN, latest__lt=today)
    return rows.order_by(*ORDER)


def people(today: date) -> QuerySet[Patient]:
    """Find the people of `late`, from the few recalls that are late: every page counts them for its masthead."""
    # Without a join inside, or a database without statistics walks through all patients for it.
    recalls = Recall.objects.filter(state__in=OPEN, latest__lt=today).order_by()
    active = Patient.objects.filter(status=PatientStatus.ACTIVE, merged_into__isnull=True)
    return active.filter(pk__in=recalls.values("patient"))


def with_reasons(rows: QuerySet[Any], today: date) -> QuerySet[Any]:
    """Add the code of the reason: what became of the last visit, else what was proposed, else how calling went."""
    ended = [_when(Q(state=state), reason) for state, reason in _BY_STATE.items()]
    of_visit = Coalesce(_last_visit(today, *ended), _by_contact())
    # An appointment without an outcome stands before what was proposed; a visit that came to nothing does not.
    of_proposed = Coalesce(_last_visit(today), Value("proposed"))
    found: QuerySet[Any] = rows.annotate(
        reason=Case(When(proposed_ground="", then=of_visit), default=of_proposed)
    )
    return found


@dataclass(frozen=True)
class Late:
    """Everything that is late, the oldest first: the reason of each key; the keys of each reason, and of none all."""

    reasons: Mapping[int, str]
    keys: Mapping[str, Sequence[int]]

    def counts(self) -> list[tuple[str, Words, int]]:
        """Count by reason, the commonest first; each number opens exactly these patients."""
        numbers = {reason: len(self.keys[reason]) for reason in REASONS if reason in self.keys}
        order = sorted(numbers, key=lambda reason: -numbers[reason])
        return [(reason, REASONS[reason], numbers[reason]) for reason in order]


def in_order(today: date, rows: QuerySet[Recall] | None = None) -> QuerySet[Any, tuple[int, str]]:
    """Ask for the keys of all that is late, or of some of it, with their reasons, the oldest first."""
    found = with_reasons(late(today) if rows is None else rows, today)
    return found.values_list("pk", "reason")


def read(found: QuerySet[Any, tuple[int, str]]) -> Late:
    """Read all in one question, from which a page counts the reasons and takes its keys."""
    keys, reasons = columns_of(found)
    of_reason: dict[str, list[int]] = {"": list(keys)}
    for key, reason in zip(keys, reasons, strict=True):
        of_reason.setdefault(reason, []).append(key)
    return Late(dict(zip(keys, reasons, strict=True)), of_reason)


def _last_visit(today: date, *ended: When) -> Case:
    """Say what the last appointment gives as a reason; nothing where there is none, or they came."""
    # From midnight: somebody who is to come at four this afternoon has missed nothing yet.
    midnight = timezone.make_aware(datetime.combine(today, time()))
    booked = Q(state=AppointmentState.BOOKED)
    past, ahead = _when(booked & Q(starts_at__lt=midnight), "no_outcome"), _when(booked, "booked")
    visits = Appointment.objects.filter(recalls=OuterRef("pk")).order_by("-starts_at", "-pk")
    why = Case(past, ahead, *ended, output_field=CharField(null=True))
    # Most of them never had one: PostgreSQL makes one table of those who had, where it would search for each.
    had = Appointment.recalls.through.objects.values("recall")
    return Case(When(pk__in=had, then=Subquery(visits.annotate(why=why).values("why")[:1])))


def _by_contact() -> Coalesce:
    """Say how calling went: by the last attempt in which somebody was spoken to, else by any that counts."""
    counted = ContactAttempt.objects.filter(recall=OuterRef("pk"), struck__isnull=True, counts=True)
    # What was said last stands: “no” and “call me in February” are answers, and not the clinic's doing.
    why = Case(
        When(outcome=Outcome.DECLINED, then=Value("declined")),
        When(outcome=Outcome.ASKS_LATER, then=Value("asks_later")),
        When(outcome__in=SPOKE, then=_with_hours("reached", lambda name: OuterRef(OuterRef(name)))),
        default=Value("not_reached"),
        output_field=CharField(),
    )
    # One look-up for all of them: asked one by one, each would read the attempts of the recall again.
    spoken = Case(When(outcome__in=SPOKE, then=Value(1)), default=Value(0))
    last = counted.order_by(spoken.desc(), "-at", "-pk").annotate(why=why).values("why")[:1]
    return Coalesce(Subquery(last), _with_hours("not_called"))


def _with_hours(reason: str, out: Callable[[str], OuterRef] = OuterRef) -> Case:
    """Give the reason where the window has hours that can be booked; `out` names a field of the recall from within."""
    # “No hours in its window” is the clinic's own doing and must not be counted as the patient's.
    hours = Session.objects.filter(day__gte=out("earliest"), day__lte=out("latest"))
    open_days = hours.exclude(day__in=ClosureDay.objects.values("day"))
    return Case(_when(Exists(open_days), reason), default=Value("no_slot"), output_field=CharField())


def _when(condition: Q | Exists, reason: str) -> When:
    return When(condition, then=Value(reason))
