"""The sections of the patient page that the plan fills: the next thing, the strip, what is due and why, own intervals.

What several sections show is read once for the page and kept on the patient, as the words of what it is about are.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, may
from clinic.charts.year_strip import Dot, Kind, Mark, Strip, Window
from clinic.models import Patient, Policy, Purpose
from clinic.pages import duty_rows
from clinic.wording import SPOKEN, write_day, write_span
from scheduling.desk import lengths
from scheduling.models import OPEN, ContactAttempt, Override, Plan, PlanProblem, Recall
from scheduling.planning import ladder
from scheduling.planning.rules_in_force import rules_of
from scheduling.planning.wording import OWN
from scheduling.recalls import overrides, wording
from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import Facts
from scheduling.rules.plan import engine, lateness
from scheduling.rules.plan.plan import Due
from scheduling.rules.plan.wording import value_words

# Sixteen months back and eleven ahead: a yearly check shows with the one before it and the next.
_BACK, _AHEAD = timedelta(days=480), timedelta(days=330)


@dataclass(frozen=True)
class Opened:
    """What is open of one patient: recalls, the most urgent first, what only a person can answer, own intervals."""

    recalls: list[Recall]
    problems: list[PlanProblem]
    overrides: list[Override]
    policies: dict[int, Policy]
    words: dict[str, str]


def opened(patient: Patient) -> Opened:
    """Read it once for a page and its sections."""
    kept = vars(patient)
    if "opened" not in kept:
        recalls = list(patient.recalls.filter(state__in=OPEN).order_by("urgency", "latest", "pk"))
        problems = list(open_problems(patient))
        own = list(patient.overrides.select_related("by", "ended_by"))
        owed = duty_rows.open_of(patient)
        about: list[wording.About] = [*recalls, *problems, *own, *owed]
        words = duty_rows.words_about(patient, (row.subject for row in about))
        policies = _policies_of(patient, {row.policy_id for row in recalls})
        kept["opened"] = Opened(recalls, problems, own, policies, words)
    found: Opened = kept["opened"]
    return found


def _policies_of(patient: Patient, keys: set[int]) -> dict[int, Policy]:
    """Read the rule sets of the recalls: long texts, read once for all, and that of the plan with the plan."""
    plan = plan_of(patient)
    known = {plan.policy_id: plan.policy} if plan and plan.policy_id in keys else {}
    signed = Policy.objects.select_related("proposed_by", "approved_by")
    return signed.in_bulk(keys - known.keys()) | known if keys - known.keys() else known


def plan_of(patient: Patient) -> Plan | None:
    """Read the plan once for a page and its sections, with the rules that it was made by."""
    kept = vars(patient)
    if "plan_read" not in kept:
        near = ("policy__proposed_by", "policy__approved_by")
        kept["plan_read"] = Plan.objects.filter(patient=patient).select_related(*near).first()
    plan: Plan | None = kept["plan_read"]
    return plan


def open_problems(patient: Patient) -> QuerySet[PlanProblem]:
    return PlanProblem.objects.filter(patient=patient, gone_on__isnull=True)


def next_section(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """Say what is to be done first of all that is owed, and by when."""
    known, today = opened(patient), clock.today()
    recall, duty = next(iter(known.recalls), None), next(iter(duty_rows.open_of(patient)), None)
    if duty and (recall is None or (not duty.urgent, duty.due_on) <= (recall.urgency != "A", recall.latest)):
        return {"owed": duty_rows.duty_rows([duty], request, words=known.words)[0]}
    if recall is None:
        return {}
    return {"recall": recall, "what": wording.what_for(recall, known.words), "late": recall.latest < today}


def due_section(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """Show what is due and why, with every reason, and what only a person can answer."""
    known, today = opened(patient), clock.today()
    plan = plan_of(patient)
    may_override = patient.status == "active" and may(request.user, Act.OVERRIDE)
    may_see = may(request.user, Act.SEE_PICTURES)
    return {
        "patient": patient,
        "rows": [_due_row(row, known, today, may_see) for row in known.recalls],
        "policies": [wording.policy_line(policy) for policy in known.policies.values()],
        "problems": [
            (row, known.words.get(row.subject, ""), _answers(row) if may_override else [])
            for row in known.problems
        ],
        "plan": plan is not None,
        "behind": plan is not None and plan.facts_revision != patient.facts_revision,
        "may_override": may_override,
    }


def request_address(row: Recall) -> str:
    """Give the page that asks for what was decided and is not done: a biopsy or an excision; empty for the rest."""
    if not lengths.asks_for_tissue(row):
        return ""
    return reverse("lesions:tissue_request", args=[row.subject.partition(":")[2]])


def _due_row(row: Recall, known: Opened, today: date, may_see_pictures: bool) -> dict[str, Any]:
    return {
        "recall": row,
        "what": wording.what_for(row, known.words),
        "window": write_span(row.earliest, row.latest),
        "near": wording.near_in_short(row, today),
        "late": row.latest < today,
        "rules": rules_of(known.policies[row.policy_id]),
        "decided": row.rule.startswith(OWN),
        # Urgent work is examined and not put off; there is no button that would be refused.
        "movable": row.urgency != "A",
        "request": request_address(row) if may_see_pictures else "",
    }


def _answers(row: PlanProblem) -> list[tuple[str, str]]:
    kind, _sep, key = row.subject.partition(":")
    if (row.code, kind) != ("no_rule", "procedure"):
        return []
    day = reverse(
        "scheduling:set_override", args=[row.patient_id], query={"for": f"suture_removal|{row.subject}"}
    )
    return [(_("Set the day"), day), (_("None were left"), reverse("lesions:sutures", args=[key]))]


def overrides_section(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """Show what dermatologists set in place of the rules: what stands, and what has ended."""
    known = opened(patient)
    governs = {row.rule for row in known.recalls}
    lines = [(row, wording.what_is_set(row, known.words)) for row in known.overrides]
    stands = [not row.ended_on and not overrides.is_spent(row, governs) for row in known.overrides]
    may_end = may(request.user, Act.OVERRIDE)
    return {
        "standing": [line for line, still in zip(lines, stands, strict=True) if still],
        "past": [line for line, still in zip(lines, stands, strict=True) if not still],
        "may_end": may_end,
        "may_set": may_end and patient.status == "active",
        "patient": patient,
    }


def owed_section(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """Show what else is owed, which no plan dates."""
    return {"rows": duty_rows.duty_rows(duty_rows.open_of(patient), request, words=opened(patient).words)}


def reaching_section(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    attempts = ContactAttempt.objects.filter(recall__patient=patient).select_related("by", "struck")
    return {"attempts": list(attempts.order_by("-at", "-pk")[:6])}


def strip_section(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    plan = plan_of(patient)
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
