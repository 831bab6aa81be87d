"""What would happen to a patient, or to nobody, by facts that are only supposed."""

import re
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, StaffRequest, allow
from clinic.models import Policy, Purpose
from clinic.trail import audit
from clinic.wording import write_day
from scheduling.forms import SuppositionForm
from scheduling.models import Urgency
from scheduling.planning.gather import gather_facts
from scheduling.planning.rules_in_force import check, rules_in_force, rules_of
from scheduling.recalls import wording
from scheduling.rule_changes.what_if import NOBODY, SUPPOSED, CannotSuppose, DueLine, WhatIfPlan, answer
from scheduling.rule_changes.what_if import suppose as supposed_facts
from scheduling.rules.plan.plan import Due

_FURTHER = re.compile(rf"(?<=:{SUPPOSED})-\d+$")


@allow(Act.SEE_RULES)
def suppose(request: StaffRequest) -> HttpResponse:
    """Answer what would happen; the question stands in the address and writes nothing, the read is on record."""
    form = SuppositionForm(request.GET or None)
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        try:
            context |= _answered(form)
        except CannotSuppose as error:
            form.add_error(error.part if error.part in form.fields else None, str(error))
        else:
            # Nothing is written but this: a record was looked at, if only to ask about it.
            if form.patient:
                audit.read(form.patient, by=request.user, page="suppose")
    return render(request, "scheduling/suppose.html", context, status=422 if form.errors else 200)


def _answered(form: SuppositionForm) -> dict[str, Any]:
    policy = _policy(form)
    given, patient, current = form.supposition(), form.patient, rules_in_force()
    known = gather_facts(patient) if patient else NOBODY
    found = answer(
        supposed_facts(known, given, clock.today()),
        rules_of(policy),
        clock.today(),
        known=known if patient else None,
        now=current[1] if current else None,
    )
    return {
        "policy": policy,
        "rules": rules_of(policy),
        "patient": patient,
        "nothing_supposed": given.is_empty,
        "found": found,
        **_in_words(found),
    }


def _policy(form: SuppositionForm) -> Policy:
    current = rules_in_force()
    policy: Policy | None = form.cleaned_data["rules"] or (current[0] if current else None)
    if policy is None:
        raise CannotSuppose(_("No rules are in force: choose one of the rule sets."))
    if check(policy.toml):
        said = _("Rule set %(set)s has faults and cannot be asked.")
        raise CannotSuppose(said % {"set": policy.version})
    return policy


def _in_words(found: WhatIfPlan) -> dict[str, Any]:
    places = wording.subjects([*(line.due for line in found.lines), *found.gone, *found.problems])
    places |= {
        f"lesion:{SUPPOSED}": _("the supposed lesion"),
        f"diagnosis:{SUPPOSED}": _("the supposed diagnosis"),
    }
    return {
        "lines": [_line(line, places, found.is_beside) for line in found.lines],
        "gone": [(due, _what(due, places)) for due in found.gone],
        # Of several supposed tumours each is called the same: they differ in nothing.
        "problems": [(one, places.get(_FURTHER.sub("", one.subject), "")) for one in found.problems],
    }


def _what(due: Due, places: dict[str, str]) -> str:
    what = str(capfirst(Purpose(due.purpose).label))
    if due.subject != "patient":
        what = f"{what}: {places.get(_FURTHER.sub('', due.subject), due.subject)}"
    counted = due.number > 1 and not due.subject.startswith("lesion:")
    if not counted:
        return what
    return _("%(what)s, number %(number)s") % {"what": what, "number": due.number}


def _line(line: DueLine, places: dict[str, str], is_beside: bool) -> tuple[DueLine, str, str, str]:
    change = _change(line.due, line.now) if is_beside else ""
    return line, _what(line.due, places), str(Urgency(line.due.urgency).label), change


def _change(due: Due, now: Due | None) -> str:
    """How it stands beside the plan without the supposition."""
    if now is None:
        return _("not asked for now")
    if (now.earliest, now.target, now.latest) == (due.earliest, due.target, due.latest):
        return _("as it is now")
    days = {"earliest": write_day(now.earliest), "latest": write_day(now.latest)}
    return _("now between %(earliest)s and %(latest)s") % days
