"""What a proposed rule set would do, person by person, and its approval by whoever has looked at that."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.charts.columns import Bar, Chart, Column
from clinic.charts.year_strip import Kind
from clinic.models import Patient, Policy, PolicyState
from clinic.wording import write_month
from scheduling.models import PreviewRun
from scheduling.planning.rules_in_force import check, rules_of
from scheduling.recalls import wording
from scheduling.rule_changes import wording as rule_words
from scheduling.rule_changes.approval import approve as approve_previewed
from scheduling.rule_changes.approval import changes_of
from scheduling.rule_changes.preview import DutyChange, RulePreview
from scheduling.rule_changes.preview_jobs import find_preview
from scheduling.views.rule_sets.rules import PAGES


@dataclass(frozen=True)
class PatientChange:
    patient: Patient
    what: str
    change: DutyChange


@dataclass(frozen=True)
class Group:
    """What is accepted together: from which rule to which, and what it changes for whom."""

    key: str
    before: str
    after: str
    longest: int
    lines: list[PatientChange]


@allow(Act.SEE_RULES)
def preview(request: StaffRequest, pk: int) -> HttpResponse:
    """Show whose days a rule set would move, by how much, and who would be overdue."""
    policy = PAGES.one(pk)
    # What cannot be read as rules moves nobody; its own page says what is wrong with it.
    if check(policy.toml):
        return redirect("scheduling:rules_version", pk)
    found = find_preview(policy, clock.today())
    if isinstance(found, PreviewRun):
        return render(request, "scheduling/waits.html", _waits(policy, found))
    context = _lists(found) | {
        "policy": policy,
        "found": found,
        "chart": _chart(found),
        "load": [(day, found.load_before[day], found.load_after[day]) for day in found.months()],
        "may_sign": _may_sign(request, policy),
    }
    return render(request, "scheduling/preview.html", context)


def _waits(policy: Policy, run: PreviewRun) -> dict[str, Any]:
    return {
        "title": _("What set %(set)s would do is being worked out") % {"set": policy.version},
        "what": _(
            "Every record is planned under it and laid beside the recalls in force; "
            "with some thousand records this takes some seconds."
        ),
        "run": run,
        "back": reverse("scheduling:rules_version", args=[policy.pk]),
        "back_words": _("Read the set as sentences"),
    }


@allow(Act.APPROVE_POLICY)
@require_POST
def approve(request: StaffRequest, pk: int) -> HttpResponse:
    """Bring a proposed rule set into force, by whoever has looked at the preview and accepted each longer wait."""
    # The digest of the list that was looked at: if a record has changed since, the list has to be read again.
    shown = {"digest": request.POST.get("preview", ""), "accepted": request.POST.getlist("accept")}
    said = _("Rule set %(version)s is in force; every plan is made anew.")
    return PAGES.sign(request, pk, approve_previewed, said, **shown)


@allow(Act.SEE_RULES)
def accepted(request: StaffRequest, pk: int) -> HttpResponse:
    """Show whose dates were accepted with this set when it was approved, as they were shown then."""
    policy = PAGES.one(pk)
    changes, people = changes_of(policy)
    places = wording.subjects(changes)
    context = {
        "policy": policy,
        "people": len(people),
        "later": lines(people, [one for one in changes if one.lengthened], places),
        "others": lines(people, [one for one in changes if not one.lengthened], places),
    }
    return render(request, "scheduling/accepted.html", context)


def _may_sign(request: StaffRequest, policy: Policy) -> bool:
    proposed = policy.state == PolicyState.PROPOSED and policy.proposed_by_id != request.user.pk
    return proposed and may(request.user, Act.APPROVE_POLICY)


def _lists(found: RulePreview) -> dict[str, Any]:
    places = wording.subjects([*found.changes, *found.no_answer])
    later = [
        Group(key, *_from_to(found, changes[0]), max(one.longer_by for one in changes), shown)
        for key, changes in found.lengthened.items()
        if (shown := lines(found.patients, changes, places))
    ]
    asked = [(found.patients[one.patient], one, places.get(one.subject, "")) for one in found.no_answer]
    return {
        "later": later,
        "people_later": _people(one for changes in found.lengthened.values() for one in changes),
        "others": lines(found.patients, [one for one in found.moved if not one.lengthened], places),
        "people_moved": _people(found.moved),
        "overdue": lines(found.patients, found.overdue, places),
        "no_answer": asked,
    }


def _people(changes: Iterable[DutyChange]) -> int:
    return len({one.patient for one in changes})


def lines(
    people: dict[int, Patient], changes: list[DutyChange], places: dict[str, str]
) -> list[PatientChange]:
    found = [PatientChange(people[one.patient], _what(one, places), one) for one in changes]
    # Whose date moves farthest stands first: there a mistake in the set would show.
    return sorted(found, key=lambda line: (-abs(line.change.days or 0), str(line.patient), line.what))


def _what(change: DutyChange, places: dict[str, str]) -> str:
    return wording.what_is_planned(change, places)


def _from_to(found: RulePreview, change: DutyChange) -> tuple[str, str]:
    """Give the titles of the rule that governs now and of the one that would."""
    now = rules_of(found.replaced).rules if found.replaced else ()
    titles = {rule.id: rule_words.title_of(rule) for rule in (*now, *rules_of(found.policy).rules)}
    before, after = (titles.get(rule, rule) for rule in (change.rule_before, change.rule_after))
    return before, after


def _chart(found: RulePreview) -> Chart:
    columns = [
        Column(
            write_month(day, year=k == 0 or day.month == 1),
            [Bar(found.load_before[day], "kept"), Bar(found.load_after[day], "open")],
            words=write_month(day),
        )
        for k, day in enumerate(found.months())
    ]
    meaning: dict[Kind, str] = {
        "kept": _("visits under the rules in force"),
        "open": _("visits under set %(set)s") % {"set": found.policy.version},
    }
    return Chart(_("Visits wanted in each month"), columns, meaning)
