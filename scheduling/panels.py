"""Add this app's sections to the patient page, its places to the masthead, and its notices to every page."""

from datetime import date, time, timedelta
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import clock
from clinic.access import Act, may
from clinic.charts.year_strip import Dot, Kind, Mark, Strip, Window
from clinic.models import Duty, Patient, Purpose
from clinic.pages import duty_rows, registering
from clinic.pages.masthead import Place, add_notice, add_place
from clinic.pages.patient_page import DUE, SUBJECTS, Button, Panel, add_button, add_panel
from clinic.wording import SPOKEN, write_day
from lesions.models import Lesion
from lesions.pages.lesion_sections import Section, add_section
from scheduling.checklists import records
from scheduling.checklists.definitions import SHEETS
from scheduling.counting import whereabouts
from scheduling.models import (
    OPEN,
    ChecklistKind,
    ContactAttempt,
    FailsafeRun,
    Plan,
    PlanProblem,
    Recall,
    RecallState,
    Touched,
)
from scheduling.pages.call_page import bring_up_to_date
from scheduling.planning import ladder
from scheduling.planning.rules_in_force import rules_of
from scheduling.planning.wording import OWN, say_because
from scheduling.recalls import missed_reasons, overrides, wording
from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import Facts
from scheduling.rules.plan import engine, lateness
from scheduling.rules.plan.plan import Due
from scheduling.rules.plan.wording import value_words
from scheduling.today import worklists

# Sixteen months back and eleven ahead: a yearly check shows with the one before it and the next.
_BACK, _AHEAD = timedelta(days=480), timedelta(days=330)
# Half an hour after the count is due: before that it may still be running, and nobody is alarmed.
_COUNTED_BY = time(6, 30)
_AHEAD_OF_NOW = gettext_lazy(
    "A count bears a date that is still to come: a clock ran ahead. It does not count as run."
)


def strip_panel(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    plan = Plan.objects.filter(patient=patient).select_related("policy").first()
    if plan:
        plan.patient = patient  # the other way round as well: the panels below need not ask again
    return {"strip": plan_strip(plan, clock.today()) if plan else None}


def plan_strip(plan: Plan, today: date) -> Strip:
    """Draw every window of the plan in the last sixteen and the next eleven months: kept, open and planned."""
    known = facts.parse(plan.facts)
    start, end = today - _BACK, today + _AHEAD
    found = [
        due
        for due in engine.upcoming(known, rules_of(plan.policy), today, end)
        if due.latest >= start and due.earliest <= end
    ]
    open_now = {(due["purpose"], due["subject"], due["anchor"], due["number"]) for due in plan.result["due"]}
    windows = [_window(due, known, open_now, today) for due in found]
    days = sorted({done.on for done in known.done if start <= done.on <= end})
    marks = [
        Mark(row.anchor, _removed(row.code, row.anchor))
        for row in known.diagnoses
        if row.anchor and start <= row.anchor <= end
    ]
    return Strip(start, end, today, windows=windows, dots=[Dot(day, _("visit")) for day in days], marks=marks)


def _removed(code: str, day: date) -> str:
    return _("%(what)s removed %(day)s") % {"what": value_words(code, SPOKEN), "day": write_day(day)}


def _window(due: Due, known: Facts, open_now: set[tuple[str, str, str, int]], today: date) -> Window:
    label = _("%(what)s, number %(number)s") % {"what": Purpose(due.purpose).label, "number": due.number}
    kept = any(
        due.earliest <= done.on <= due.latest and (done.purpose, done.subject) == (due.purpose, due.subject)
        for done in known.done
    ) or _has_picture(due, known)
    opens = lateness.opens_on(due.earliest, ladder.standing_of(due.urgency).lead_days)
    is_open = opens <= today and (due.purpose, due.subject, due.anchor.isoformat(), due.number) in open_now
    drawn: Kind = "planned"
    # Kept before anything else: what was done in its window cannot be late any more.
    if kept:
        drawn = "kept"
    elif due.latest < today or (is_open and (due.latest - today).days <= wording.LAST_DAYS):
        drawn = "care"
    elif is_open:
        drawn = "open"
    return Window(due.earliest, due.target, due.latest, drawn, label)


def _has_picture(due: Due, known: Facts) -> bool:
    return due.purpose == "lesion_image" and any(
        f"lesion:{row.id}" == due.subject
        and row.last_image_on
        and due.earliest <= row.last_image_on <= due.latest
        for row in known.lesions
    )


def due_panel(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """Show what is due and why, with every reason, and what only a person can answer."""
    rows = list(
        patient.recalls.filter(state__in=OPEN)
        .select_related("policy__proposed_by", "policy__approved_by")
        .order_by("latest", "pk")
    )
    places, today = wording.subjects(rows), clock.today()
    plan = getattr(patient, "plan", None)
    may_override = patient.status == "active" and may(request.user, Act.OVERRIDE)
    return {
        "patient": patient,
        "rows": [
            {
                "recall": row,
                "what": wording.what_for(row, places),
                "near": wording.how_near(row, today),
                "policy": wording.policy_line(row.policy),
                "rules": rules_of(row.policy),
                "decided": row.rule.startswith(OWN),
                # Urgent work is examined and not put off; there is no button that would be refused.
                "movable": row.urgency != "A",
            }
            for row in rows
        ],
        "problems": _problems(patient, may_override),
        "plan": plan is not None,
        "behind": plan is not None and plan.facts_revision != patient.facts_revision,
        "may_override": may_override,
    }


def _problems(patient: Patient, may_answer: bool) -> list[tuple[PlanProblem, str, list[tuple[str, str]]]]:
    """List what a person must answer, which lesion, procedure or diagnosis it is about, and where it is answered."""
    rows = list(_open_problems(patient))
    places = wording.subjects(rows) if rows else {}
    return [(row, places.get(row.subject, ""), _answers(row) if may_answer else []) for row in rows]


def _open_problems(patient: Patient) -> QuerySet[PlanProblem]:
    return PlanProblem.objects.filter(patient=patient, gone_on__isnull=True)


def _answers(row: PlanProblem) -> list[tuple[str, str]]:
    kind, _sep, key = row.subject.partition(":")
    if (row.code, kind) != ("no_rule", "procedure"):
        return []
    day = reverse(
        "scheduling:set_override", args=[row.patient_id], query={"for": f"suture_removal|{row.subject}"}
    )
    return [(_("Set the day"), day), (_("None were left"), reverse("lesions:sutures", args=[key]))]


def open_subjects(patient: Patient) -> list[tuple[str, str]]:
    """Find what the open duties and questions are about, however old the lesion or the procedure is."""
    return list(wording.subjects([*patient.recalls.filter(state__in=OPEN), *_open_problems(patient)]).items())


def open_duties(patient: Patient) -> list[tuple[str, str]]:
    rows = patient.recalls.filter(state__in=(RecallState.DUE, RecallState.BOOKED)).order_by("latest", "pk")
    places = wording.subjects(rows)
    return [(f"{row.purpose}|{row.subject}", wording.what_for(row, places)) for row in rows]


def overrides_panel(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """Show what dermatologists set in place of the rules: what stands, and what has ended."""
    rows = list(patient.overrides.select_related("by", "ended_by"))
    governs, places = overrides.governing(patient) if rows else set(), wording.subjects(rows)
    lines = [(row, wording.what_is_set(row, places)) for row in rows]
    stands = [not row.ended_on and not overrides.is_spent(row, governs) for row in rows]
    may_end = may(request.user, Act.OVERRIDE)
    return {
        "standing": [line for line, still in zip(lines, stands, strict=True) if still],
        "past": [line for line, still in zip(lines, stands, strict=True) if not still],
        "may_end": may_end,
        "may_set": may_end and patient.status == "active",
        "patient": patient,
    }


def reaching_panel(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    attempts = ContactAttempt.objects.filter(recall__patient=patient).select_related("by", "struck")
    return {"attempts": list(attempts.order_by("-at", "-pk")[:6])}


def checklists_section(lesion: Lesion, request: HttpRequest) -> dict[str, Any]:
    rows = [(row, SHEETS[row.kind]) for row in records.filled(lesion)]
    return {
        "lesion": lesion,
        "rows": [(row, sheet, sheet.answers(row.entries)) for row, sheet in rows],
        "kinds": ChecklistKind.choices,
        "may_fill": may(request.user, Act.FILL_CHECKLIST),
    }


def count_notice(request: HttpRequest) -> list[str]:
    """Say on every page that the morning's count did not run, or does not add up."""
    now = timezone.localtime(clock.now())
    wanted = now.date() if now.time() >= _COUNTED_BY else now.date() - timedelta(days=1)
    last = FailsafeRun.objects.defer(*whereabouts.FIGURES).first()
    said: list[str] = []
    # A clock that ran ahead must not make tomorrow's count look done.
    if last and (last.ran_at > now or last.day > now.date()):
        last, said = whereabouts.last_count(), [str(_AHEAD_OF_NOW)]
    if last is None:
        said.append(
            _(
                "Nobody has counted yet where everybody is. The count runs every morning; is the worker running?"
            )
        )
    elif last.day < wanted:
        said.append(
            _("The morning's count of where everybody is did not run; the last one is of %(day)s.")
            % {"day": write_day(last.day)}
        )
    elif not last.holds:
        said.append(_("The morning's count does not add up: somebody stands nowhere. See Missed."))
    return said


def _to_reach(request: HttpRequest) -> int:
    bring_up_to_date(request)
    return duty_rows.count_of("people", request)


def _missed(request: HttpRequest) -> int:
    return duty_rows.count_of("missed", request)


def _people_missed() -> QuerySet[Patient]:
    return missed_reasons.people(clock.today())


def _appointment_door(duty: Duty) -> tuple[str, str]:
    return _("Move or cancel it"), reverse("scheduling:move", args=[duty.subject.partition(":")[2]])


def _recall_door(duty: Duty) -> tuple[str, str] | None:
    """Give the page on which a dermatologist decides what follows an attempt or a missed visit: that of the recall."""
    model, _sep, key = duty.opened_from.partition(":")
    about = {"scheduling.contactattempt": "attempts", "scheduling.appointment": "appointments"}.get(model)
    found = Recall.objects.filter(**{about: key}).first() if about else None
    return (_("Look at the recall"), reverse("scheduling:recall", args=[found.pk])) if found else None


duty_rows.COUNTED["people"] = worklists.to_do
duty_rows.COUNTED["touched"] = Touched.objects.all
duty_rows.COUNTED["begun"] = worklists.begun
duty_rows.COUNTED["to_phone"] = worklists.to_phone
duty_rows.COUNTED["missed"] = _people_missed
duty_rows.SUBJECT_WORDS.append(wording.appointments)
duty_rows.BECAUSE |= dict.fromkeys(("rebook", "decide_what_follows", "file_call"), say_because)
duty_rows.DOORS["rebook"] = _appointment_door
duty_rows.DOORS["decide_what_follows"] = _recall_door
SUBJECTS.append(open_subjects)
DUE.append(open_duties)
add_section(Section("checklists", Act.SEE_PICTURES, "scheduling/_checklists.html", checklists_section))
add_place(Place(gettext_lazy("Today"), "scheduling:today", 10, Act.SEE_WORKLIST, _to_reach))
add_place(Place(gettext_lazy("Diary"), "scheduling:diary", 60, Act.SEE_WORKLIST))
add_place(Place(gettext_lazy("Worried caller"), "scheduling:worried_who", 65, Act.NOTE_SIGNS, key="u"))
add_place(Place(gettext_lazy("Missed"), "scheduling:missed", 70, Act.SEE_MISSED, _missed))
add_place(Place(gettext_lazy("Rules"), "scheduling:rules", 80, Act.SEE_RULES))
add_button(Button(gettext_lazy("Call or book"), "scheduling:call", 10, Act.CONTACT))
add_button(Button(gettext_lazy("Worried caller"), "scheduling:worried", 15, Act.NOTE_SIGNS))
registering.GOES_ON["worried"] = "scheduling:worried"
add_notice("failsafe", count_notice)
add_panel(Panel("plan strip", "top", 10, Act.SEE_PATIENTS, "scheduling/_plan_strip.html", strip_panel))
add_panel(Panel("due", "left", 10, Act.SEE_PATIENTS, "scheduling/_due.html", due_panel))
add_panel(Panel("overrides", "left", 15, Act.SEE_PATIENTS, "scheduling/_overrides.html", overrides_panel))
add_panel(Panel("reaching", "left", 20, Act.SEE_PATIENTS, "scheduling/_reaching.html", reaching_panel))
