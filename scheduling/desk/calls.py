"""Call a person: one call for everything that is due, claimed, begun when it is dialled, and with its outcome."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger
from clinic.models import Carer, ContactRoute, Member, Patient, RouteKind, StaleRow, Voicemail, change
from clinic.people import patients
from clinic.trail import audit
from scheduling.desk import booking, claims, contacts, taking_back
from scheduling.desk.contacts import ContactRefused
from scheduling.models import (
    DOES_NOT_COUNT,
    Appointment,
    Call,
    ContactAttempt,
    Outcome,
    Recall,
    RecallState,
    Resource,
)

SPOKEN_TO = (Outcome.SPOKE, Outcome.SPOKE_AUTHORISED, Outcome.ASKS_LATER, Outcome.DECLINED)
MAY_NOT_BE_TOLD = gettext_lazy("This person may be told nothing today: look again at who may be spoken to.")
_MOST_ATTEMPTS = 5  # that a call page shows


@dataclass(frozen=True)
class Booking:
    """What is booked in a call: `revision` is that of the first recall as it was shown."""

    recalls: list[Recall]
    resource: Resource
    starts_at: datetime
    revision: int


@dataclass(frozen=True)
class Said:
    """What was said in a call: with whom, how that was checked, and the next step with its day.

    Not with the patient: `carer` is who may be told today, or `spoke_to` names somebody and `why` says why.
    """

    spoke_to: str = ""
    carer: Carer | None = None
    why: str = ""
    identity: str = ""
    told: str = ""
    next_action: str = ""
    next_on: date | None = None
    note: str = ""


@transaction.atomic
def begin(*, patient: Patient, by: Member, route: str, address: str) -> Call:
    """Keep that a call was begun: until somebody says what came of it, it stands on Today."""
    require(by, Act.CONTACT)
    claims.hold(patient, by)
    # Dialled twice, or from a second window: it stays one call, with one outcome.
    if begun := open_call(patient, by):
        return begun
    row = Call.objects.create(
        patient=patient, by=by, begun_at=clock.now(), route=route, address=address, changed_at=clock.now()
    )
    audit.record("call.begin", by=by, subject=row, patient=patient, route=route)
    return row


def open_call(patient: Patient, by: Member) -> Call | None:
    """Find the call of this member that has no outcome yet."""
    return Call.objects.filter(patient=patient, by=by, ended_at=None).order_by("pk").last()


@transaction.atomic
def log(
    *,
    patient: Patient,
    by: Member,
    route: str,
    address: str,
    outcome: str,
    said: Said | None = None,
    book: Booking | None = None,
    seen: int | None = None,
) -> Call:
    """Say what came of a call, once for everything that is due; a place is booked in the same breath.

    `seen`: the last call that the page showed; where another one was logged since, nothing is doubled. Raises
    ContactRefused, BookingRefused or StaleRow, and then nothing of it is kept.
    """
    require(by, Act.CONTACT)
    claims.hold(patient, by)
    said = said or Said()
    _check_seen(patient, seen)
    due = list(patient.recalls.filter(state=RecallState.DUE).select_related("patient").order_by("pk"))
    _check(outcome, said, book, owes=bool(due))
    _check_who(patient, outcome, said)
    _check_voicemail(patient, outcome, address)
    call = open_call(patient, by) or begin(patient=patient, by=by, route=route, address=address)
    made = _book(call, book, by) if book else None
    booked = {row.pk for row in book.recalls} if book else set()
    # One attempt for each recall: ladders are counted by recall, and one call speaks for all of them.
    for row in {one.pk: one for one in [*due, *(book.recalls if book else ())]}.values():
        of_row = Outcome.BOOKED if row.pk in booked else outcome
        _attempt(call, row, by, of_row, route, address, said)
    if outcome in DOES_NOT_COUNT and not due:
        kill_routes(patient, route, address, by)
    ended = {"outcome": Outcome.BOOKED if made else outcome, "ended_at": clock.now(), "appointment": made}
    about = {"route": route, "address": address, "identity": said.identity, **_with_whom(said)}
    change(call, seen=call.revision, at=clock.now(), where={"ended_at": None}, **ended, **about)
    audit.record("call.end", by=by, subject=call, patient=patient, outcome=call.outcome)
    return call


def _check(outcome: str, said: Said, book: Booking | None, *, owes: bool) -> None:
    # Nobody chooses “booked”: it follows from the place, or a call could say so with nothing in the diary.
    if outcome not in Outcome.values or outcome == Outcome.BOOKED:
        raise ContactRefused(_("Say what came of the call."), "outcome")
    # Whoever answers a telephone may be anybody; health is spoken of with the patient (common practice, no source).
    if outcome in SPOKEN_TO and not said.identity:
        raise ContactRefused(_("Say how you knew who it was."), "identity")
    if outcome in (Outcome.SPOKE, Outcome.SPOKE_AUTHORISED) and not said.told:
        raise ContactRefused(_("Say in a few words what was said."), "told")
    if outcome == Outcome.SPOKE_AUTHORISED and not (said.carer or said.spoke_to):
        raise ContactRefused(_("Say with whom you spoke."), "spoke_to")
    if outcome in (Outcome.SPOKE, Outcome.SPOKE_AUTHORISED) and owes and not (book or said.next_on):
        raise ContactRefused(_("Choose a place, or say the day of the next step."), "next_on")
    if book and outcome not in (Outcome.SPOKE, Outcome.SPOKE_AUTHORISED):
        raise ContactRefused(
            _("A place is booked with somebody to whom you spoke: choose that outcome."), "outcome"
        )


def _check_who(patient: Patient, outcome: str, said: Said) -> None:
    """Nothing of a person's health is said to whoever has no authority (common practice, no source)."""
    if not (said.carer or said.spoke_to):
        return
    if outcome == Outcome.SPOKE:
        raise ContactRefused(
            _("Somebody else is named: choose “Spoke to somebody who may be told”, or name nobody."),
            "outcome",
        )
    if said.carer and not (said.carer.patient_id == patient.pk and said.carer.holds_on(clock.today())):
        raise ContactRefused(MAY_NOT_BE_TOLD, "carer")
    # Whoever answers may ask to be rung another day, as long as nothing was said.
    speaks_for = outcome in (Outcome.SPOKE_AUTHORISED, Outcome.DECLINED) or bool(said.told)
    if outcome in SPOKEN_TO and speaks_for and not (said.carer or said.why):
        raise ContactRefused(
            _("Choose who may be told today, or say why this person may: nothing is said to anybody else."),
            "why",
        )


def _with_whom(said: Said) -> dict[str, Any]:
    return {"spoke_to": said.spoke_to, "carer": said.carer, "why_told": said.why}


def _check_voicemail(patient: Patient, outcome: str, address: str) -> None:
    """A machine that others hear gets only what the patient agreed to."""
    if outcome != Outcome.VOICEMAIL:
        return
    agreed = (Voicemail.YES, Voicemail.NAME_ONLY)
    if not patient.routes.filter(value=address, voicemail__in=agreed).exists():
        raise ContactRefused(_("No voicemail was agreed for this number: log “no answer”."), "outcome")


def _book(call: Call, book: Booking, by: Member) -> Appointment:
    place = {"resource": book.resource, "starts_at": book.starts_at, "revision": book.revision}
    return booking.book(recalls=book.recalls, by=by, **place)  # type: ignore[arg-type]  # named above


def _attempt(
    call: Call, row: Recall, by: Member, outcome: str, route: str, address: str, said: Said
) -> ContactAttempt:
    # A day is promised for what is still owed; what is booked has its day.
    promised = None if outcome == Outcome.BOOKED else said.next_on
    # Booking has written this row since it was read.
    row.refresh_from_db()
    return contacts.log_attempt(
        recall=row,
        by=by,
        route=route,
        address=address,
        outcome=outcome,
        told=said.told,
        next_action=said.next_action,
        next_on=promised,
        note=said.note,
        call=call,
    )


def kill_routes(patient: Patient, route: str, address: str, by: Member) -> None:
    """End a way that proved dead where no recall is due to which the attempt could belong."""
    for row in ContactRoute.objects.filter(patient=patient, kind=route, value=address, dead_since=None):
        patients.kill_route(route=row, by=by)


def may_take_back(call: Call, by: Member) -> bool:
    ended = call.ended_at is not None and call.struck_at is None
    return ended and call.by_id == by.pk and clock.now() - call.ended_at <= ledger.TAKE_BACK  # type: ignore[operator]


@transaction.atomic
def take_back(*, call: Call, by: Member) -> Call:
    """Take a whole call back within ten minutes: its booking is freed, its attempts stay readable, struck through."""
    if not may_take_back(call, by):
        raise ContactRefused(_("Only who logged a call takes it back, and within ten minutes."))
    if visit := call.appointment:
        taking_back.take_back(appointment=visit, by=by, revision=visit.revision)
    for attempt in call.attempts.filter(struck__isnull=True).select_related("recall__patient", "by"):
        taking_back.strike(attempt=attempt, by=by)
    change(call, seen=call.revision, at=clock.now(), where={"struck_at": None}, struck_at=clock.now())
    audit.record("call.strike", by=by, subject=call, patient=call.patient)
    return call


def last_of(patient: Patient) -> Call | None:
    """Find the last call with an outcome: a form that shows an older one was overtaken."""
    return Call.objects.filter(patient=patient, ended_at__isnull=False).order_by("ended_at", "pk").last()


def _check_seen(patient: Patient, seen: int | None) -> None:
    last = last_of(patient)
    if seen is not None and last is not None and last.pk != seen:
        raise StaleRow(last)


def tried_before(patient: Patient) -> list[ContactAttempt]:
    """List the last attempts, one for each call however much it was about; struck ones among them."""
    rows = ContactAttempt.objects.filter(recall__patient=patient).select_related(
        "by", "struck", "call__carer"
    )
    found: dict[Any, ContactAttempt] = {}
    # A call leaves one attempt for each recall that was due: enough rows for five calls, and never all of them.
    for row in rows.order_by("-at", "-pk")[: 8 * _MOST_ATTEMPTS]:
        found.setdefault(row.call_id or f"attempt {row.pk}", row)
    return list(found.values())[:_MOST_ATTEMPTS]


def ways(patient: Patient) -> list[ContactRoute]:
    """List the ways that work, in the patient's own order; a telephone first where two are alike."""
    kinds = {kind: turn for turn, kind in enumerate((RouteKind.PHONE, RouteKind.EMAIL, RouteKind.POST))}
    today = clock.today()
    live: Iterable[ContactRoute] = [row for row in patient.routes.all() if row.works_on(today)]
    return sorted(live, key=lambda row: (row.order, kinds[RouteKind(row.kind)], row.pk))
