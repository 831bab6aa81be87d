"""List who should have been seen and was not: past the latest day, neither completed nor closed with a ground."""

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import Any

from django.db.models import Prefetch
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic.models import Patient
from clinic.wording import Words, write_day
from scheduling.models import Appointment, Claim, ContactAttempt, Recall
from scheduling.planning import ladder
from scheduling.recalls import wording
from scheduling.recalls.missed_reasons import SPOKE, late, with_reasons
from scheduling.rules.plan import lateness

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
# What a spreadsheet takes for a formula: a name like =cmd|… would run when the file is opened.
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
        return bool(_claims_of(self.recall))


def rows(today: date, keys: Sequence[int] | None = None) -> list[MissedRow]:
    """List the rows, the oldest first, each with why it is late and whose it is; `keys`: those of one page."""
    found = late(today) if keys is None else late(today).filter(pk__in=keys)
    shown = with_reasons(found, today).select_related("patient").prefetch_related(*_details())
    shown = shown.defer("reasons")
    ladders = ladder.in_force()
    return [_row(recall, today, ladders[recall.urgency].attempts) for recall in shown]


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


def _details() -> "list[Prefetch[Any]]":
    """Ask for the few columns that a row reads; kept as lists, which costs no question built for each row."""
    claimed = Claim.objects.filter(by__isnull=False).select_related("by")
    made = ContactAttempt.objects.filter(struck__isnull=True).order_by("at", "pk")
    made = made.only("recall", "at", "counts", "outcome", "route")
    visits = Appointment.objects.order_by("starts_at", "pk").only("starts_at")
    return [
        Prefetch("attempts", made, to_attr="made"),
        Prefetch("appointments", visits, to_attr="visits"),
        Prefetch("patient__claim", claimed),
    ]


def _of(recall: Recall, name: str) -> list[Any]:
    """Give the attempts or the appointments, which `rows` fetched."""
    found: list[Any] = vars(recall)[name]
    return found


def _row(recall: Recall, today: date, attempts: int) -> MissedRow:
    reason = recall.reason  # type: ignore[attr-defined]  # annotated by `rows`
    late_by = lateness.days_late(recall.latest, today)
    return MissedRow(recall.patient, recall, late_by, reason, _why(reason, recall), _owner(recall, attempts))


def _why(reason: str, recall: Recall) -> str:
    """Write the reason with its day, or with what was tried."""
    words: dict[str, object] = {}
    counted = [attempt for attempt in _of(recall, "made") if attempt.counts]
    if reason in ("no_outcome", "booked", "missed_visit", "cancelled_by_us", "cancelled_by_patient"):
        words["day"] = write_day(timezone.localdate(_of(recall, "visits")[-1].starts_at))
    elif reason == "proposed":
        words["ground"] = recall.get_proposed_ground_display()
    elif reason == "reached":
        spoke = [attempt for attempt in counted if attempt.outcome in SPOKE]
        words["day"] = write_day(timezone.localdate(spoke[-1].at))
    elif reason == "not_reached":
        words["tried"] = tried(counted)
    return str(_SAID[reason]) % words


_SAID: dict[str, Words] = {
    "no_outcome": gettext_lazy("no outcome of the visit on %(day)s"),
    "booked": gettext_lazy("booked for %(day)s"),
    "proposed": gettext_lazy("closing proposed: %(ground)s"),
    "missed_visit": gettext_lazy("missed the visit on %(day)s"),
    "cancelled_by_us": gettext_lazy("cancelled by us, %(day)s"),
    "cancelled_by_patient": gettext_lazy("cancelled by the patient, %(day)s"),
    "no_slot": gettext_lazy("no bookable hours in its window"),
    "reached": gettext_lazy("reached on %(day)s, not booked"),
    "not_reached": gettext_lazy("not reached: %(tried)s"),
    "not_called": gettext_lazy("not yet called"),
}


def tried(attempts: Iterable[ContactAttempt]) -> str:
    """Say what was tried: 2 calls, 1 letter."""
    tally = Counter(attempt.route for attempt in attempts)
    return ", ".join(_TRIED[route](count) % {"count": count} for route, count in tally.items())


_TRIED: dict[str, Callable[[int], str]] = {
    "phone": lambda count: ngettext("%(count)s call", "%(count)s calls", count),
    "email": lambda count: ngettext("%(count)s message", "%(count)s messages", count),
    "post": lambda count: ngettext("%(count)s letter", "%(count)s letters", count),
}


def _claims_of(recall: Recall) -> list[Claim]:
    """Give the claim on the patient, which `rows` fetched."""
    # Of a patient whom nobody has claimed Django has no such attribute at all, rather than None.
    claim = getattr(recall.patient, "claim", None)
    return [claim] if claim is not None and claim.by is not None else []


def _owner(recall: Recall, attempts: int) -> str:
    """Say whose work it is: always a role's, and by name while somebody works on it."""
    if claims := _claims_of(recall):
        return str(claims[0].by)
    counted = sum(attempt.counts for attempt in _of(recall, "made"))
    # Tried as often as the ladder allows, or proposed to be closed: it is the desk's no more.
    return _("dermatologist") if counted >= attempts or recall.proposed_ground else _("desk")
