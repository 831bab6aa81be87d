"""List who should have been seen and was not: past the latest day, neither completed nor closed with a ground."""

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic.models import Patient, PatientStatus
from clinic.wording import Words, write_day
from scheduling.models import (
    OPEN,
    Appointment,
    AppointmentState,
    ClosureDay,
    ContactAttempt,
    Outcome,
    Recall,
    Session,
    WorkItem,
)
from scheduling.planning import ladder
from scheduling.recalls import wording
from scheduling.rules.plan import lateness

REASONS: dict[str, Words] = {
    "booked": gettext_lazy("booked, too late"),
    "no_outcome": gettext_lazy("nobody wrote down whether they came"),
    "proposed": gettext_lazy("closing was proposed"),
    "missed_visit": gettext_lazy("missed the visit"),
    "cancelled_by_us": gettext_lazy("cancelled by us"),
    "cancelled_by_patient": gettext_lazy("cancelled by the patient"),
    "reached": gettext_lazy("reached, not booked"),
    "not_reached": gettext_lazy("not reached"),
    "no_slot": gettext_lazy("no bookable hours in the window"),
    "not_called": gettext_lazy("not yet called"),
}
_HEAD = (
    gettext_lazy("number"),
    gettext_lazy("family name"),
    gettext_lazy("given name"),
    gettext_lazy("born"),
    gettext_lazy("what for"),
    gettext_lazy("latest day"),
    gettext_lazy("days late"),
    gettext_lazy("why"),
    gettext_lazy("owner"),
)
_SPOKE = (Outcome.SPOKE, Outcome.SPOKE_AUTHORISED, Outcome.ASKS_LATER, Outcome.DECLINED)
_RISKY = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class MissedRow:
    patient: Patient
    recall: Recall
    days_late: int
    reason: str
    why: str
    owner: str

    @property
    def is_member(self) -> bool:
        """Whether a person has it, by name, and not a role."""
        return bool(self.recall.claims)  # type: ignore[attr-defined]  # prefetched by `rows`


def rows(today: date) -> list[MissedRow]:
    """List the rows, the oldest first, each with why it is late and whose it is."""
    found = list(late(today).select_related("patient").prefetch_related(*_details(today)))
    bookable = _bookable_days(found)
    return [_row(recall, today, bookable) for recall in found]


def late(today: date) -> QuerySet[Recall]:
    rows = Recall.objects.filter(state__in=OPEN, latest__lt=today)
    rows = rows.filter(patient__status=PatientStatus.ACTIVE, patient__merged_into__isnull=True)
    return rows.order_by("latest", "urgency", "pk")


def counts(found: Iterable[MissedRow]) -> list[tuple[str, Words, int]]:
    """Count by reason, the commonest first; each number opens exactly these patients."""
    tally = Counter(row.reason for row in found)
    return [(reason, REASONS[reason], count) for reason, count in tally.most_common()]


def people(found: Iterable[MissedRow]) -> int:
    return len({row.patient.pk for row in found})


def as_csv(found: Sequence[MissedRow]) -> str:
    """Write the list for a spreadsheet; a cell that it would take for a formula is quoted with an apostrophe."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(_HEAD)
    places = wording.subjects([row.recall for row in found])
    for row in found:
        patient, recall = row.patient, row.recall
        cells = [
            patient.number,
            patient.family_name,
            patient.given_name,
            patient.born,
            wording.what_for(recall, places),
            recall.latest,
            row.days_late,
            row.why,
            row.owner,
        ]
        writer.writerow([_safe(cell) for cell in cells])
    return out.getvalue()


def _safe(cell: object) -> str:
    text = str(cell)
    return f"'{text}" if text.startswith(_RISKY) else text


def _details(today: date) -> "list[Prefetch[Any]]":
    claimed = WorkItem.objects.filter(day=today, state="claimed").select_related("claimed_by")
    return [
        Prefetch("attempts", ContactAttempt.objects.filter(struck__isnull=True).order_by("at", "pk")),
        Prefetch("appointments", Appointment.objects.order_by("starts_at", "pk")),
        Prefetch("work_items", claimed, to_attr="claims"),
    ]


def _bookable_days(found: list[Recall]) -> set[date]:
    if not found:
        return set()
    span = (min(recall.earliest for recall in found), max(recall.latest for recall in found))
    closed = ClosureDay.objects.filter(day__range=span).values("day")
    return set(Session.objects.filter(day__range=span).exclude(day__in=closed).values_list("day", flat=True))


def _row(recall: Recall, today: date, bookable: set[date]) -> MissedRow:
    reason, why = _why(recall, today, bookable)
    late_by = lateness.days_late(recall.latest, today)
    return MissedRow(recall.patient, recall, late_by, reason, why, _owner(recall))


def _why(recall: Recall, today: date, bookable: set[date]) -> tuple[str, str]:
    by_visit = _why_by_visit(recall, today)
    if recall.proposed_ground and not (by_visit and by_visit[0] in ("booked", "no_outcome")):
        return "proposed", _("closing proposed: %(ground)s") % {
            "ground": recall.get_proposed_ground_display()
        }
    return by_visit or _why_by_contact(recall, bookable)


def _why_by_visit(recall: Recall, today: date) -> tuple[str, str] | None:
    visits = list(recall.appointments.all())
    if not visits:
        return None
    last, on = visits[-1], write_day(timezone.localdate(visits[-1].starts_at))
    if last.state == AppointmentState.BOOKED:
        if timezone.localdate(last.starts_at) < today:
            return "no_outcome", _("no outcome of the visit on %(day)s") % {"day": on}
        return "booked", _("booked for %(day)s") % {"day": on}
    if last.state not in _BY_STATE:
        return None
    reason, words = _BY_STATE[AppointmentState(last.state)]
    return reason, words % {"day": on}


_BY_STATE = {
    AppointmentState.MISSED: ("missed_visit", gettext_lazy("missed the visit on %(day)s")),
    AppointmentState.CANCELLED_BY_CLINIC: ("cancelled_by_us", gettext_lazy("cancelled by us, %(day)s")),
    AppointmentState.CANCELLED_BY_PATIENT: (
        "cancelled_by_patient",
        gettext_lazy("cancelled by the patient, %(day)s"),
    ),
}


def _why_by_contact(recall: Recall, bookable: set[date]) -> tuple[str, str]:
    counted = [attempt for attempt in recall.attempts.all() if attempt.counts]
    no_slot = not any(recall.earliest <= day <= recall.latest for day in bookable)
    spoke = [attempt for attempt in counted if attempt.outcome in _SPOKE]
    if no_slot and (spoke or not counted):
        return "no_slot", _("no bookable hours in its window")
    if spoke:
        day = write_day(timezone.localdate(spoke[-1].at))
        return "reached", _("reached on %(day)s, not booked") % {"day": day}
    if counted:
        return "not_reached", _("not reached: %(tried)s") % {"tried": tried(counted)}
    return "not_called", _("not yet called")


def tried(attempts: Iterable[ContactAttempt]) -> str:
    """2 calls, 1 letter"""
    tally = Counter(attempt.route for attempt in attempts)
    return ", ".join(_TRIED[route](count) % {"count": count} for route, count in tally.items())


_TRIED: dict[str, Callable[[int], str]] = {
    "phone": lambda count: ngettext("%(count)s call", "%(count)s calls", count),
    "email": lambda count: ngettext("%(count)s message", "%(count)s messages", count),
    "post": lambda count: ngettext("%(count)s letter", "%(count)s letters", count),
}


def _owner(recall: Recall) -> str:
    """Say whose work it is: always a role's, and by name while somebody works on it."""
    if recall.claims:  # type: ignore[attr-defined]
        return str(recall.claims[0].claimed_by)  # type: ignore[attr-defined]
    counted = sum(attempt.counts for attempt in recall.attempts.all())
    exhausted = counted >= ladder.ladder_of(recall.urgency).attempts
    return _("dermatologist") if exhausted or recall.proposed_ground else _("desk")
