"""List who should have been seen and was not: past the latest day, neither completed nor closed with a ground."""

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import StringIO
from typing import Any, NamedTuple

from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic import clock
from clinic.models import Member, Patient
from clinic.trail import audit
from clinic.wording import Words, write_day
from scheduling.models import Appointment, ContactAttempt, Ground, Outcome, Recall
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
    is_member: bool  # whether a person has it, by name, and not a role
    clinician: str = ""  # who saw the patient last


def rows(today: date, reason: str = "") -> list[MissedRow]:
    """List the rows, the oldest first, each with why it is late and whose it is; `reason`: those of one reason."""
    shown = with_reasons(late(today), today)
    return _rows(shown.filter(reason=reason) if reason else shown, today)


def rows_of(today: date, found: Mapping[int, str]) -> list[MissedRow]:
    """List the rows of one page, whose reasons are known by their keys already."""
    return _rows(Recall.objects.filter(pk__in=found).order_by(*ORDER), today, found)


def _rows(shown: QuerySet[Any], today: date, known: Mapping[int, str] | None = None) -> list[MissedRow]:
    shown = shown.annotate(seen_by=last_seen_by("by__name"), **_HOLDER).select_related("patient")
    recalls = list(shown.only(*_SHOWN))
    tried, visits, ladders = _attempts(recalls), _last_visits(recalls), ladder.in_force()
    found = []
    for recall in recalls:
        reason = recall.reason if known is None else known[recall.pk]
        done = Efforts(recall, tried.get(recall.pk, []), visits.get(recall.pk))
        found.append(_row(done, reason, today, ladders[recall.urgency].attempts))
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


_SHOWN = (
    *("purpose", "subject", "number", "urgency", "latest", "proposed_ground"),
    *(f"patient__{name}" for name in ("number", "given_name", "family_name", "born")),
)
_HOLDER = {f"holder_{name}": F(f"patient__claim__by__{name}") for name in ("name", "username")}


class Attempt(NamedTuple):
    """What a row says of an attempt that counts."""

    at: datetime
    outcome: Outcome | str
    route: str
    next_on: date | None


class Efforts(NamedTuple):
    """What was done about a recall: its attempts that count, the oldest first, and when its last appointment was."""

    recall: Any  # with what `_rows` added
    attempts: list[Attempt]
    visit: datetime | None


def _attempts(recalls: Sequence[Recall]) -> dict[int, list[Attempt]]:
    made = ContactAttempt.objects.filter(recall__in=recalls, struck__isnull=True, counts=True)
    found: dict[int, list[Attempt]] = {}
    for key, *attempt in made.order_by("at", "pk").values_list("recall", *Attempt._fields):
        found.setdefault(key, []).append(Attempt(*attempt))
    return found


def _last_visits(recalls: Sequence[Recall]) -> dict[int, datetime]:
    booked = Appointment.objects.filter(recalls__in=recalls).order_by("starts_at", "pk")
    return dict(booked.values_list("recalls", "starts_at"))


def _row(done: Efforts, reason: str, today: date, attempts: int) -> MissedRow:
    recall = done.recall
    late_by = lateness.days_late(recall.latest, today)
    holder = recall.holder_name or recall.holder_username
    owner = holder or _desk_or_dermatologist(done, attempts)
    why = _why(reason, done)
    return MissedRow(recall.patient, recall, late_by, reason, why, owner, bool(holder), recall.seen_by or "")


def _why(reason: str, done: Efforts) -> str:
    """Write the reason with its day, or with what was tried."""
    words: dict[str, object] = {}
    if reason in ("no_outcome", "booked", "missed_visit", "cancelled_by_us", "cancelled_by_patient"):
        words["day"] = _day_of(done.visit)
    elif reason == "proposed":
        words["ground"] = Ground(done.recall.proposed_ground).label
    elif reason in ("reached", "declined"):
        words["day"] = _day_of(_said(done).at)
    elif reason == "asks_later":
        words["day"] = write_day(_said(done).next_on or timezone.localdate(_said(done).at))
    elif reason == "no_slot" and any(attempt.outcome in SPOKE for attempt in done.attempts):
        return _("no bookable hours in its window; spoken to on %(day)s") % {"day": _day_of(_said(done).at)}
    elif reason == "not_reached":
        words["tried"] = tried(attempt.route for attempt in done.attempts)
    return str(_SAID[reason]) % words


def _day_of(at: datetime | None) -> str:
    return write_day(timezone.localdate(at))


def _said(done: Efforts) -> Attempt:
    """Find the last attempt in which somebody was spoken to."""
    return [each for each in done.attempts if each.outcome in SPOKE][-1]


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


def tried(routes: Iterable[str]) -> str:
    """Say what was tried: 2 calls, 1 letter."""
    return ", ".join(_TRIED[route](count) % {"count": count} for route, count in Counter(routes).items())


_TRIED: dict[str, Callable[[int], str]] = {
    "phone": lambda count: ngettext("%(count)s call", "%(count)s calls", count),
    "email": lambda count: ngettext("%(count)s message", "%(count)s messages", count),
    "post": lambda count: ngettext("%(count)s letter", "%(count)s letters", count),
}


def _desk_or_dermatologist(done: Efforts, attempts: int) -> str:
    """Say whose work it is while nobody works on it: always a role's."""
    # Tried as often as the ladder allows, or proposed to be closed: it is the desk's no more.
    beyond_the_desk = len(done.attempts) >= attempts or done.recall.proposed_ground
    return _("dermatologist") if beyond_the_desk else _("desk")
