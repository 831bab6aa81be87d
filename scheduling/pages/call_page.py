"""Gather what the page of a call shows: whom to ring, why, what was tried, and the free places."""

from datetime import timedelta
from typing import Any

from django.db.models import (
    Case,
    OuterRef,
    Prefetch,
    QuerySet,
    Subquery,
    Value,
    When,
    prefetch_related_objects,
)
from django.http import HttpRequest
from django.utils import timezone

from clinic import clock
from clinic.access import Act, may
from clinic.duties.kinds import KINDS, OwningList
from clinic.models import ContactRoute, Duty, Patient, PatientStatus, RouteKind
from clinic.pages import duty_rows
from clinic.people import carers, finding
from scheduling.call_forms import OUTCOMES, CallForm, TakeOverForm
from scheduling.desk import calls, taking_back, what_next
from scheduling.models import OPEN, Appointment, Call, Claim, DeskLine, Recall, RecallState, Section
from scheduling.pages.ladder_words import stands_at
from scheduling.pages.patient_sections import request_address
from scheduling.planning import ladder
from scheduling.recalls import wording
from scheduling.today import worklists


def bring_up_to_date(request: HttpRequest) -> None:
    """Bring Today up to date once for a page and its masthead, where more changed than was worked out for the count."""
    # The masthead counts the same lines: worked out twice, one page could show two numbers.
    if hasattr(request, "desk_is_up_to_date"):
        return
    if duty_rows.count_of("touched", request) or duty_rows.count_of("begun", request):
        worklists.bring_up_to_date()
        duty_rows.count_anew(request)
    vars(request)["desk_is_up_to_date"] = True


def with_last_call(patients: QuerySet[Patient]) -> QuerySet[Patient]:
    """Add the key of the last call with an outcome: a form that shows an older one was overtaken."""
    ended = Call.objects.filter(patient=OuterRef("pk"), ended_at__isnull=False).order_by("-ended_at", "-pk")
    return patients.annotate(last_call=Subquery(ended.values("pk")[:1]))


def open_recalls(patient: Patient) -> QuerySet[Recall]:
    """List the open recalls: those to be reached first, then what is booked, then what is only planned."""
    first = Case(When(state="due", then=Value(0)), When(state="booked", then=Value(1)), default=Value(2))
    rows = patient.recalls.filter(state__in=OPEN).annotate(turn=first).select_related("patient")
    return rows.order_by("turn", "urgency", "latest", "pk")


def first_form(patient: Patient) -> CallForm:
    """Make the empty form: the way that the ladder asks for, or the only one, is chosen already."""
    routes = Prefetch("routes", ContactRoute.objects.select_related("carer"))
    prefetch_related_objects([patient], routes, "carers", "desk_line")
    ways, last = calls.ways(patient), patient.last_call  # type: ignore[attr-defined]  # by `with_last_call`
    wanted = _wanted_route(patient)
    first = next((row for row in ways if row.kind == wanted), ways[0] if ways else None)
    chosen = f"{first.kind}|{first.value}" if first else ""
    return CallForm(
        ways=ways, may_be_told=carers.in_force(patient), initial={"way": chosen, "last": last or 0}
    )


def line_of(patient: Patient) -> DeskLine | None:
    """Find where the patient stands on Today."""
    return getattr(patient, "desk_line", None)


def _wanted_route(patient: Patient) -> str:
    line = line_of(patient)
    return RouteKind.POST if line and line.section == Section.WRITE else RouteKind.PHONE


def context(request: HttpRequest, patient: Patient, form: CallForm, holder: Claim | None) -> dict[str, Any]:
    """Give all that the page of a call shows; what may be done depends on who has claimed the patient."""
    member: Any = request.user
    mine = holder is not None and holder.by_id == member.pk
    rows, today = list(open_recalls(patient)), clock.today()
    may_call = mine and may(member, Act.CONTACT) and patient.status == PatientStatus.ACTIVE
    return {
        "patient": patient,
        "namesakes": list(finding.namesakes(patient)[:3]),
        "holder": holder,
        "mine": mine,
        "may_call": may_call,
        "may_take_over": holder is not None and not mine and may(member, Act.CONTACT),
        "take_over_form": TakeOverForm(),
        "left": duty_rows.count_of("to_phone", request),
        "form": form,
        "said_fields": form.said_fields(),
        "ways": _ways(patient, form),
        "dead": [row for row in patient.routes.all() if row.dead_since],
        "carers": carers.in_force(patient),
        "of_age": carers.came_of_age(patient),
        "outcomes": [
            (value, words, key, form["outcome"].value() == value)
            for key, (value, words) in enumerate(OUTCOMES, 1)
        ],
        "wrong": form.first_wrong() if form.is_bound else "",
        "chosen_place": form.data.get("place", "") if form.is_bound else "",
        **_why(patient, rows, may_see_pictures=may(member, Act.SEE_PICTURES)),
        "strip": _strip(rows, patient),
        "attempts": [(row, taking_back.may_strike(row, member)) for row in calls.tried_before(patient)],
        "stands_at": _stands_at(rows, line_of(patient)),
        "furthest": what_next.furthest_day(rows[0], member) if rows else None,
        "appointments": _appointments(patient),
        "owed": duty_rows.duty_rows(_of_the_desk(patient), request),
        "today": today,
        "bookable": next((row for row in rows if row.state != RecallState.BOOKED), None),
    }


def _of_the_desk(patient: Patient) -> list[Duty]:
    """Find what else is owed for the patient; what only a dermatologist decides stands on the patient's page."""
    return [row for row in duty_rows.open_of(patient) if KINDS[row.kind].list != OwningList.DECISIONS]


def _ways(patient: Patient, form: CallForm) -> list[tuple[Any, str, bool]]:
    chosen = form["way"].value()
    values = [(row, f"{row.kind}|{row.value}") for row in calls.ways(patient)]
    return [(row, value, value == chosen) for row, value in values]


def _why(patient: Patient, rows: list[Recall], *, may_see_pictures: bool) -> dict[str, Any]:
    """Write each thing that is due in one line, the reason of the first beside it, and its request on paper."""
    subjects, today = wording.subjects(rows), clock.today()
    lines = [
        (
            row,
            wording.what_for(row, subjects),
            wording.how_near(row, today),
            request_address(row) if may_see_pictures else "",
        )
        for row in rows
    ]
    asked = what_next.said_about([patient.pk])
    answers = [
        # Only the last word: what a dermatologist said before it no longer holds.
        wording.answer_of(one)
        for row in rows
        for one in asked.get((patient.pk, row.subject), [])[-1:]
    ]
    return {"duties": lines, "answers": list(dict.fromkeys(answers))}


def _strip(rows: list[Recall], patient: Patient) -> Any:
    if not rows:
        return None
    today = clock.today()
    days = wording.visit_days([patient.pk], today - timedelta(days=400))[patient.pk]
    return wording.strip_of(rows[0], days, today)


def _stands_at(rows: list[Recall], line: DeskLine | None) -> str:
    """2 of 3, a letter next: of the first that is due."""
    if not rows or rows[0].state != RecallState.DUE or line is None:
        return ""
    rungs = ladder.ladder_of(rows[0].urgency)
    route = RouteKind.PHONE if line.section == Section.PHONE else rungs.next_route(line.tried)
    return stands_at(line.tried, rungs, route, line.part)


def _appointments(patient: Patient) -> list[Appointment]:
    ahead = patient.appointments.filter(state="booked").select_related("resource").order_by("starts_at")
    # From today's midnight on: who rings at noon may mean the appointment of this morning.
    return [row for row in ahead if timezone.localdate(row.starts_at) >= clock.today()][:3]
