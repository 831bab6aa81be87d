"""List who should have been seen and was not: past the latest day, neither completed nor closed with a ground."""

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import Any

from django.db import transaction
from django.db.models import Prefetch, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic import clock
from clinic.models import Member, Patient
from clinic.trail import audit
from clinic.wording import Words, write_day
from scheduling.models import Appointment, Claim, ContactAttempt, Recall
from scheduling.planning import ladder
from scheduling.recalls import wording
from scheduling.recalls.clinicians import last_seen_by
from scheduling.recalls.missed_reasons import ORDER, REASONS, SPOKE, late, with_reasons
from scheduling.rules.plan import lateness

_HEAD = (
    gettext_lazy("number"),
    gettext_lazy("family name"),
    gettext_lazy("given name"),
    gettext_lazy("born"),
    gettext_lazy("what for"),
    gettext_lazy("urgency"),
    gettext_lazy("clinician"),
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
    clinician: str = ""  # who saw the patient last

    @property
    def is_member(self) -> bool:
        """Whether a person has it, by name, and not a role."""
        return bool(_claims_of(self.recall))


def rows(today: date, reason: str = "") -> list[MissedRow]:
    """List the rows, the oldest first, each with why it is late and whose it is; `reason`: those of one reason."""
    shown = with_reasons(late(today), today)
    return _rows(shown.filter(reason=reason) if reason else shown, today)


def rows_of(today: date, found: Mapping[int, str]) -> list[MissedRow]:
    """List the rows of one page, whose reasons are known by their keys already."""
    return _rows(Recall.objects.filter(pk__in=found).order_by(*ORDER), today, found)


def _rows(shown: QuerySet[Any], today: date, known: Mapping[int, str] | None = None) -> list[MissedRow]:
    ladders, found = ladder.in_force(), []
    shown = shown.annotate(seen_by=last_seen_by("by__name"))
    for recall in shown.select_related("patient").prefetch_related(*_details()).only(*_SHOWN):
        reason = recall.reason if known is None else known[recall.pk]
        found.append(_row(recall, reason, today, ladders[recall.urgency].attempts))
    return found


@transaction.atomic
def download(*, by: Member, reason: str = "") -> str:
    """Hand out the list for a spreadsheet, with its day, who asked and which reason; that it left is recorded."""
    found = rows(clock.today(), reason=reason)
    audit.record("missed.download", by=by, subject=by, reason=reason, rows=len(found))
    at = timezone.localtime(clock.now())
    about = (
        (_("Missed, as of"), f"{write_day(at.date())}, {at:%H:%M}"),
        (_("asked for by"), str(by)),
        (_("shown"), str(REASONS[reason]) if reason else _("every reason")),
    )
    return as_csv(found, about)


def as_csv(found: Sequence[MissedRow], about: Iterable[tuple[str, str]] = ()) -> str:
    """Write the list for a spreadsheet; a cell that it would take for a formula is quoted with an apostrophe."""
    out = StringIO()
    writer = csv.writer(out)
    for line in about:
        writer.writerow([_safe(cell) for cell in line])
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
            recall.urgency,
            row.clinician,
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
    made = made.only("recall", "at", "counts", "outcome", "route", "next_on")
    visits = Appointment.objects.order_by("starts_at", "pk").only("starts_at")
    return [
        Prefetch("attempts", made, to_attr="made"),
        Prefetch("appointments", visits, to_attr="visits"),
        Prefetch("patient__claim", claimed),
    ]


_SHOWN = (
    *("purpose", "subject", "number", "urgency", "latest", "proposed_ground"),
    *(f"patient__{name}" for name in ("number", "given_name", "family_name", "born")),
)


def _of(recall: Recall, name: str) -> list[Any]:
    """Give the attempts or the appointments, which `rows` fetched."""
    found: list[Any] = vars(recall)[name]
    return found


def _row(recall: Recall, reason: str, today: date, attempts: int) -> MissedRow:
    late_by = lateness.days_late(recall.latest, today)
    why, owner, seen_by = _why(reason, recall), _owner(recall, attempts), recall.seen_by  # type: ignore[attr-defined]
    return MissedRow(recall.patient, recall, late_by, reason, why, owner, seen_by or "")


def _why(reason: str, recall: Recall) -> str:
    """Write the reason with its day, or with what was tried."""
    words: dict[str, object] = {}
    counted = [attempt for attempt in _of(recall, "made") if attempt.counts]
    if reason in ("no_outcome", "booked", "missed_visit", "cancelled_by_us", "cancelled_by_patient"):
        words["day"] = write_day(timezone.localdate(_of(recall, "visits")[-1].starts_at))
    elif reason == "proposed":
        words["ground"] = recall.get_proposed_ground_display()
    elif reason in ("reached", "declined"):
        words["day"] = write_day(timezone.localdate(_said(counted).at))
    elif reason == "asks_later":
        words["day"] = write_day(_said(counted).next_on or timezone.localdate(_said(counted).at))
    elif reason == "no_slot" and any(attempt.outcome in SPOKE for attempt in counted):
        return _("no bookable hours in its window; spoken to on %(day)s") % {
            "day": write_day(timezone.localdate(_said(counted).at))
        }
    elif reason == "not_reached":
        words["tried"] = tried(counted)
    return str(_SAID[reason]) % words


def _said(counted: Sequence[ContactAttempt]) -> ContactAttempt:
    """Find the last attempt in which somebody was spoken to."""
    return [each for each in counted if each.outcome in SPOKE][-1]


_SAID: dict[str, Words] = {
    "no_outcome": gettext_lazy("no outcome of the visit on %(day)s"),
    "booked": gettext_lazy("booked for %(day)s"),
    "proposed": gettext_lazy("closing proposed: %(ground)s"),
    "missed_visit": gettext_lazy("missed the visit on %(day)s"),
    "cancelled_by_us": gettext_lazy("cancelled by us, %(day)s"),
    "cancelled_by_patient": gettext_lazy("cancelled by the patient, %(day)s"),
    "no_slot": gettext_lazy("no bookable hours in its window"),
    "declined": gettext_lazy("said on %(day)s that they do not want to come"),
    "asks_later": gettext_lazy("asks to be called on %(day)s"),
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
