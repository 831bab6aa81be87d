"""Log attempts to reach a patient: only added to, and counted only where they could have reached somebody."""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import ContactRoute, Duty, Member, Patient, RouteKind
from clinic.people import patients
from clinic.trail import audit
from clinic.wording import Words, write_day
from scheduling.desk import claims, what_next
from scheduling.models import (
    DOES_NOT_COUNT,
    OPEN,
    AppointmentState,
    Call,
    ContactAttempt,
    Outcome,
    Recall,
    StruckAttempt,
)
from scheduling.planning import ladder


class ContactRefused(ValueError):
    """Raised where an attempt cannot be logged so; the text is the sentence for the page, `field` what it is about."""

    def __init__(self, text: Words, field: str = "") -> None:
        super().__init__(str(text))
        self.field = field


@transaction.atomic
def log_attempt(
    *,
    recall: Recall,
    by: Member,
    route: str,
    address: str,
    outcome: str,
    told: str = "",
    next_action: str = "",
    next_on: date | None = None,
    note: str = "",
    at: datetime | None = None,
    call: Call | None = None,
) -> ContactAttempt:
    """Log one attempt with its outcome. A dead number or a returned letter ends that route and does not count.

    Declined, or the ladder used up: a dermatologist decides what follows, and the recall stays on its list.
    """
    require(by, Act.CONTACT)
    claims.hold(recall.patient, by)
    at = at or clock.now()
    _check(recall, route, address, outcome, at)
    _check_next_day(recall, by, outcome, next_on)
    attempt = ContactAttempt.objects.create(
        recall=recall,
        call=call,
        at=at,
        by=by,
        route=route,
        address=address.strip(),
        outcome=outcome,
        counts=_counts(recall, route, outcome, at),
        told=told,
        next_action=next_action,
        next_on=next_on,
        note=note,
    )
    if outcome in DOES_NOT_COUNT:
        _kill_route(attempt)
    audit.record(
        "contact.attempt",
        by=by,
        subject=attempt,
        patient=recall.patient,
        route=route,
        outcome=outcome,
        counts=attempt.counts,
    )
    what_next.ask_after_attempt(attempt)
    return attempt


def attempts_left(recall: Recall) -> int:
    """Count the attempts of the ladder that are left before a dermatologist decides what follows."""
    return max(0, ladder.ladder_of(recall.urgency).attempts - what_next.tried(recall))


def _check(recall: Recall, route: str, address: str, outcome: str, at: datetime) -> None:
    if recall.state not in OPEN:
        raise ContactRefused(_("This recall is closed: nothing is logged for it any more."))
    if outcome not in Outcome.values:
        raise ContactRefused(_("Say what came of it: an attempt is not saved without its outcome."))
    if route not in RouteKind.values or not address.strip():
        raise ContactRefused(_("Say by which way, and the number or address that was used."))
    if at > clock.now():
        raise ContactRefused(_("An attempt lies in the past."))
    booked = recall.appointments.filter(state=AppointmentState.BOOKED)
    if outcome == Outcome.BOOKED and not booked.exists():
        raise ContactRefused(
            _("Book the appointment first, under Free places: without one nothing is booked.")
        )


def _check_next_day(recall: Recall, by: Member, outcome: str, next_on: date | None) -> None:
    if outcome == Outcome.ASKS_LATER and next_on is None:
        raise ContactRefused(_("Say on which day the patient asks to be called."), "next_on")
    furthest = what_next.furthest_day(recall, by)
    if next_on and not clock.today() < next_on <= furthest:
        raise ContactRefused(
            _(
                "The next day lies from tomorrow on and is %(day)s at the latest; "
                "a dermatologist may put it off for longer."
            )
            % {"day": write_day(furthest)},
            "next_on",
        )


def _counts(recall: Recall, route: str, outcome: str, at: datetime) -> bool:
    if outcome in DOES_NOT_COUNT:
        return False
    # A letter and a message lie there until they are read; two calls in a row find the same empty room.
    if route != RouteKind.PHONE:
        return True
    span = timedelta(hours=ladder.ONE_ATTEMPT_HOURS)
    near = what_next.standing(recall).filter(route=route, counts=True, at__gt=at - span, at__lt=at + span)
    return not near.exists()


def _kill_route(attempt: ContactAttempt) -> None:
    """Mark the route as dead; what came back is looked into even where another way still works."""
    for row in routes_used(attempt):
        patients.kill_route(route=row, by=attempt.by)
    if attempt.outcome == Outcome.RETURNED:
        patients.find_a_way(patient=attempt.recall.patient, because=attempt, by=attempt.by)


def look_for_a_way(patient: Patient, by: Member) -> None:
    """Ask for a way again after an attempt was struck through: another letter that came back had waited behind it."""
    struck = Q(evidence__startswith=f"{StruckAttempt._meta.label_lower}:")
    looked = Duty.objects.filter(patient=patient, kind="find_a_way", ended_at__isnull=False).exclude(struck)
    returned = ContactAttempt.objects.filter(recall__patient=patient, outcome=Outcome.RETURNED, struck=None)
    if last := looked.order_by("-ended_at").first():
        returned = returned.filter(at__gt=last.ended_at)
    because = returned.order_by("at", "pk").last()
    if because or not patient.routes.working(clock.today()).exists():
        patients.find_a_way(patient=patient, because=because or patient, by=by)


def routes_used(attempt: ContactAttempt) -> QuerySet[ContactRoute]:
    used = {"kind": attempt.route, "value": attempt.address, "patient": attempt.recall.patient_id}
    return ContactRoute.objects.filter(**used).select_related("patient")
