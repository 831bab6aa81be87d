"""Say of everything that is owed in which section of Today it stands, and from that where each person does."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any, Final

from django.db.models import QuerySet
from django.utils import timezone

from clinic import clock
from clinic.access import Act, roles_with
from clinic.duties import limits
from clinic.duties.limits import working_days_after
from clinic.models import ContactRoute, Duty, Patient, PatientStatus, Proposal, Role, Visit
from clinic.people import ending
from lesions.models import RefusedUpload
from scheduling.models import (
    Appointment,
    Call,
    ContactAttempt,
    DeskLine,
    PartOfDay,
    Recall,
    Section,
    Urgency,
)
from scheduling.planning import ladder
from scheduling.rules.plan import lateness
from scheduling.today.next_step import NextStep, RecallFacts, next_step

# What stands on Today of the ledger, and where; what another list owns is only shown here.
DUTIES: Final = {
    "tell": Section.TELL,
    "try_on": Section.PHONE,
    "repeat_picture": Section.PHONE,
    "write_letter": Section.WRITE,
    "ask_referrer": Section.WRITE,
    "rebook": Section.REBOOK,
    "find_a_way": Section.PUT_RIGHT,
    "file_call": Section.PUT_RIGHT,
    "put_picture_right": Section.PUT_RIGHT,
}
# The desk asks these by telephone: after a call they rest as a recall does.
_BY_PHONE: Final = ("try_on", "repeat_picture")
CONFIRM_DAYS = 2  # working days ahead of which appointments are confirmed (clinic setting, no source)


@dataclass(frozen=True)
class Owed:
    """One thing that is owed: `key` names its row, `comes_on` is the day on which it is to be done."""

    key: str
    section: Section
    urgency: str
    ends_on: date
    comes_on: date
    what: str
    since: date
    tried: int = 0
    part: str = PartOfDay.ANY

    @property
    def order(self) -> tuple[Any, ...]:
        return self.section, self.urgency, self.ends_on, self.key


@dataclass
class _Facts:
    """What is known of the patients of one batch, each asked once for all of them."""

    today: date
    patients: dict[int, Patient]
    owed: dict[int, list[Owed]] = field(default_factory=dict)

    def add(self, patient_id: int, owed: Owed) -> None:
        self.owed.setdefault(patient_id, []).append(owed)


def lines_of(patient_ids: Iterable[int]) -> list[DeskLine]:
    """Work out the lines of these patients; whoever owes nothing has none."""
    today = clock.today()
    rows = Patient.objects.filter(pk__in=list(patient_ids), merged_into__isnull=True).order_by("pk")
    # Locked, so that of two who work out one person the later one has seen what the earlier one saw.
    rows = rows.select_for_update().only("pk", "status", "interpreter")
    known = _Facts(today, {row.pk: row for row in rows})
    for gather in (_appointments, _calls, _duties, _uploads, _recalls):
        gather(known)
    clinicians = _clinicians(list(known.owed))
    return [_line(known.patients[key], owed, today, clinicians.get(key)) for key, owed in known.owed.items()]


def nameless_lines() -> list[DeskLine]:
    """Work out the lines of calls that stand under nobody."""
    today, rows = clock.today(), Duty.objects.filter(patient=None, ended_at=None, kind="file_call")
    return [
        DeskLine(
            day=today,
            section=Section.PUT_RIGHT,
            urgency=Urgency.A if row.urgent else Urgency.B,
            ends_on=row.due_on,
            comes_on=today,
            since=timezone.localdate(row.opened_at),
            first=f"duty:{row.pk}",
            what=row.kind,
            duties=1,
        )
        for row in rows
    ]


def owing(now: datetime) -> set[int]:
    """Find everybody of whom something stands on Today."""
    ahead = _confirmed_until(timezone.localdate(now))
    found: tuple[QuerySet[Any], ...] = (
        Recall.objects.filter(state="due"),
        Duty.objects.filter(ended_at=None, kind__in=DUTIES, patient__isnull=False),
        Appointment.objects.filter(state="booked", starts_at__lt=ahead),
        Call.objects.filter(ended_at=None),
    )
    keys = {key for rows in found for key in rows.order_by().values_list("patient_id", flat=True)}
    return keys | set(_refused().order_by().values_list("lesion__patient_id", flat=True))


def _line(patient: Patient, owed: list[Owed], today: date, clinician: int | None) -> DeskLine:
    first = min(owed, key=lambda one: one.order)
    # What rests until later lends today's line none of its urgency.
    now = [one for one in owed if one.section != Section.LATER] or owed
    return DeskLine(
        patient_id=patient.pk,
        day=today,
        section=first.section,
        urgency=min(one.urgency for one in now),
        ends_on=first.ends_on,
        comes_on=min(one.comes_on for one in now),
        since=min(one.since for one in now),
        first=first.key,
        what=first.what,
        duties=len(owed),
        tried=first.tried,
        part=first.part,
        language=patient.interpreter,
        clinician_id=clinician,
    )


def _clinicians(patient_ids: list[int]) -> dict[int, int]:
    """Say which dermatologist saw each patient last."""
    seen = Visit.objects.filter(
        patient__in=patient_ids, by__role=Role.DERMATOLOGIST, struck_at__isnull=True
    ).order_by("attended_on", "pk")
    # In the order of days: of several visits of one patient the last one stays.
    return dict(seen.values_list("patient_id", "by_id"))


# ---- what is owed, kind by kind ---------------------------------------------------------------------


def _confirmed_until(today: date) -> datetime:
    """Give the end of the last day whose appointments are confirmed already."""
    last = working_days_after(today, CONFIRM_DAYS) + timedelta(days=1)
    return timezone.make_aware(datetime.combine(last, time()))


def _appointments(known: _Facts) -> None:
    now = clock.now()
    booked = Appointment.objects.filter(
        patient__in=known.patients, state="booked", starts_at__lt=_confirmed_until(known.today)
    ).order_by()
    for key, patient_id, at, confirmed in booked.values_list(
        "pk", "patient_id", "starts_at", "confirmed_for"
    ):
        day = timezone.localdate(at)
        if at <= now:
            owed = Owed(f"appointment:{key}", Section.OUTCOME, Urgency.B, day, known.today, "outcome", day)
        # Confirmed for the time it had then: one that was moved since is asked again.
        elif day > known.today and confirmed != at:
            owed = Owed(
                f"appointment:{key}", Section.CONFIRM, Urgency.C, day, known.today, "confirm", known.today
            )
        else:
            continue
        known.add(patient_id, owed)


def _calls(known: _Facts) -> None:
    begun = Call.objects.filter(patient__in=known.patients, ended_at=None).order_by()
    for key, patient_id, at in begun.values_list("pk", "patient_id", "begun_at"):
        day = timezone.localdate(at)
        known.add(patient_id, Owed(f"call:{key}", Section.OUTCOME, Urgency.B, day, known.today, "call", day))


def _duties(known: _Facts) -> None:
    rows = Duty.objects.filter(patient__in=known.patients, ended_at=None, kind__in=DUTIES).order_by()
    named = list(rows.values_list("pk", "patient_id", "kind", "urgent", "due_on", "opened_at"))
    rest = _tried_today(known, {row[1] for row in named if row[2] in _BY_PHONE})
    for key, patient_id, kind, urgent, due_on, opened_at in named:
        section, comes_on = DUTIES[kind], known.today
        if kind in _BY_PHONE and patient_id in rest:
            section, comes_on = Section.LATER, working_days_after(known.today, 1)
        urgency = Urgency.A if urgent else Urgency.B
        since = timezone.localdate(opened_at)
        known.add(patient_id, Owed(f"duty:{key}", section, urgency, due_on, comes_on, kind, since))


def _tried_today(known: _Facts, patient_ids: set[int]) -> set[int]:
    """Find whom the desk has rung today already: nobody is rung twice a day for what has no ladder."""
    midnight = timezone.make_aware(datetime.combine(known.today, time()))
    counted = Call.objects.filter(patient__in=patient_ids, ended_at__gte=midnight, struck_at=None)
    return set(counted.exclude(outcome__in=("dead", "returned")).values_list("patient_id", flat=True))


def _refused() -> QuerySet[RefusedUpload]:
    return RefusedUpload.objects.filter(settled_at__isnull=True)


def _uploads(known: _Facts) -> None:
    rows = _refused().filter(lesion__patient__in=known.patients).order_by()
    found = list(rows.values_list("pk", "lesion__patient_id", "at"))
    if not found:
        return
    limit = limits.in_force()["file_upload"]
    for key, patient_id, at in found:
        since = timezone.localdate(at)
        due = (limit.due_on(since, False), known.today)
        known.add(patient_id, Owed(f"upload:{key}", Section.PUT_RIGHT, Urgency.B, *due, "file_upload", since))


# ---- recalls ----------------------------------------------------------------------------------------


def _recalls(known: _Facts) -> None:
    rows = list(Recall.objects.filter(patient__in=known.patients, state="due").order_by())
    if not rows:
        return
    attempts = _attempts(rows)
    asked, answered = _asked(rows)
    reachable, dying = _routes(known), _death_proposed(known)
    ladders = ladder.in_force()
    for row in rows:
        facts = RecallFacts(
            attempts=attempts.get(row.pk, []),
            answered_at=answered.get((row.patient_id, row.subject)),
            asked_until=asked.get((row.patient_id, row.subject)),
            routes=reachable.get(row.patient_id, frozenset()),
            under_care=known.patients[row.patient_id].status == PatientStatus.ACTIVE
            and row.patient_id not in dying,
        )
        step = next_step(row, ladders[row.urgency], facts, known.today)
        known.add(row.patient_id, _of_recall(row, step))


def _of_recall(row: Recall, step: NextStep) -> Owed:
    key, since = (
        f"recall:{row.pk}",
        lateness.opens_on(row.earliest, ladder.standing_of(row.urgency).lead_days),
    )
    return Owed(
        key, step.section, row.urgency, row.latest, step.on, row.purpose, since, step.tried, step.part
    )


def _attempts(rows: list[Recall]) -> dict[int, list[dict[str, Any]]]:
    found: dict[int, list[dict[str, Any]]] = {}
    made = ContactAttempt.objects.filter(recall__in=rows, struck__isnull=True).order_by("at", "pk")
    for row in made.values("recall_id", "at", "route", "counts", "next_on", "by__role"):
        lasts = row["by__role"] in _PUT_OFF_FOR_LONG
        found.setdefault(row["recall_id"], []).append({**row, "lasts": lasts})
    return found


_PUT_OFF_FOR_LONG = roles_with(Act.CLOSE_RECALLS)


def _asked(rows: list[Recall]) -> tuple[dict[Any, date], dict[Any, datetime]]:
    """Say by patient and subject until when a dermatologist was asked, and when one last answered."""
    asked: dict[Any, date] = {}
    answered: dict[Any, datetime] = {}
    duties = Duty.objects.filter(
        patient__in={row.patient_id for row in rows},
        kind="decide_what_follows",
        opened_from__startswith="scheduling.",
    ).order_by("ended_at")
    said = ("patient_id", "subject", "due_on", "ended_at", "evidence", "ground", "because")
    for patient_id, subject, due_on, ended_at, evidence, ground, because in duties.values_list(*said):
        key = (patient_id, subject)
        # Asked after a second missed visit, a dermatologist decides while the desk goes on ringing.
        if ended_at is None and because.get("code") != "missed_again":
            asked[key] = due_on
        elif ended_at and (ground or evidence.startswith("clinic.step:")):
            answered[key] = ended_at
    return asked, answered


def _routes(known: _Facts) -> dict[int, frozenset[str]]:
    found: dict[int, set[str]] = {}
    live = ContactRoute.objects.working(clock.today()).filter(patient__in=known.patients).order_by()
    for patient_id, kind in live.values_list("patient_id", "kind"):
        found.setdefault(patient_id, set()).add(kind)
    return {key: frozenset(kinds) for key, kinds in found.items()}


def _death_proposed(known: _Facts) -> set[int]:
    """Find patients whose death is proposed: calls and letters stop at once, and go on if it is refused."""
    waits = Proposal.objects.filter(act=ending.ACT, answered_at__isnull=True, patient__in=known.patients)
    dead = waits.filter(fields__status=PatientStatus.DECEASED)
    return set(dead.values_list("patient_id", flat=True))
