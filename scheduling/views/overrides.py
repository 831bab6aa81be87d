"""Setting another interval or date in place of the rules, and ending it."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow
from clinic.models import Member, Patient, StaleRow
from clinic.models.visit import ABOUT, NOT_ALWAYS_ON_RECORD
from clinic.pages import patient_page
from clinic.pages.fields import done_choices
from clinic.pages.responses import conflict, page_of
from clinic.trail import audit
from scheduling.forms import EndOverrideForm, OverrideForm
from scheduling.models import OPEN, Override
from scheduling.planning.rules_in_force import rules_in_force
from scheduling.recalls import overrides, wording


@allow(Act.OVERRIDE)
def set_other(request: StaffRequest, pk: int) -> HttpResponse:
    """Set another interval or day in place of the rules; `?for=` names the due item: full_skin_check|patient."""
    patient = get_object_or_404(Patient, pk=pk)
    choices = _choices(patient)
    what = request.GET.get("for", "")
    # From beside a due item the question is settled; a word that names nothing leaves the choice open.
    fixed = what in dict(choices)
    first = {"revision": patient.facts_revision, "what": what}
    form = OverrideForm(request.POST or None, initial=first, choices=choices, fixed=fixed)
    effect = None
    if form.is_valid():
        try:
            _set(patient, request.user, form.decision())
        except StaleRow as error:
            return conflict(request, error, page_of(patient))
        except overrides.OverrideRefused as error:
            form.add_error(None, str(error))
            effect = getattr(error, "effect", None)
        else:
            messages.success(request, _("Set for %(who)s; the plan is made anew.") % {"who": patient})
            return redirect("clinic:patient", pk)
    current = rules_in_force()
    context = {
        "what": dict(choices).get(what, "") if fixed else "",
        "rules_say": overrides.by_the_rules(patient, _key(what)) if fixed else None,
        "rules": current[1] if current else None,
        "stands": overrides.standing(patient, _key(what)) if fixed else None,
        "said": form.said() if effect else "",
    }
    return _page(request, patient, form, effect, "scheduling/override.html", **context)


def _set(patient: Patient, by: Member, given: dict[str, Any]) -> None:
    how = overrides.set_date if "date" in given else overrides.set_interval
    how(patient=patient, by=by, **given)


def _choices(patient: Patient) -> list[tuple[str, str]]:
    """List what can be set: what is planned now first, then everything else a visit may be about."""
    rows = list(patient.recalls.filter(state__in=OPEN).order_by("latest", "pk"))
    places = wording.subjects(rows)
    planned = {f"{row.purpose}|{row.subject}": wording.what_is_planned(row, places) for row in rows}
    return [*done_choices(patient_page.subjects_of(patient), planned.items()), *_elsewhere()]


def _elsewhere() -> list[tuple[str, str]]:
    """What was cut or found elsewhere is on no record here: its day stands under the patient."""
    text = _("%(purpose)s: something done or found elsewhere")
    return [
        (f"{purpose.value}|patient", capfirst(text % {"purpose": purpose.label}))
        for purpose, kind in ABOUT.items()
        if kind in NOT_ALWAYS_ON_RECORD
    ]


def _key(what: str) -> overrides.Key:
    purpose, _sep, subject = what.partition("|")
    return purpose, subject


@allow(Act.OVERRIDE)
def end(request: StaffRequest, pk: int) -> HttpResponse:
    """End a dermatologist's own interval or day; both days are shown before the rules count again."""
    rows = Override.objects.select_related("patient", "by")
    row = get_object_or_404(rows, pk=pk)
    patient = row.patient
    if row.ended_on and request.method != "POST":
        messages.info(request, _("This decision has ended already."))
        return redirect("clinic:patient", patient.pk)
    form = EndOverrideForm(request.POST or None, initial={"revision": row.revision})
    effect, shown = overrides.effect_of_end(row), f"ends {row.pk}"
    if form.is_valid():
        # The tick repeats what was shown: another effect by now has to be looked at again.
        given = form.cleaned_data | {"accepted": form.cleaned_data["accepted"] == shown}
        try:
            overrides.end(override=row, by=request.user, **given)
        except StaleRow as error:
            return conflict(request, error, page_of(patient))
        except overrides.OverrideRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Ended; the rules count again for %(who)s.") % {"who": patient})
            return redirect("clinic:patient", patient.pk)
    what = wording.what_is_set(row, wording.subjects([row]))
    more = {"row": row, "what": what, "said": shown}
    return _page(request, patient, form, effect, "scheduling/override_end.html", **more)


def _page(
    request: StaffRequest,
    patient: Patient,
    form: Any,
    effect: overrides.Effect | None,
    template: str,
    **more: Any,
) -> HttpResponse:
    audit.read(patient, by=request.user, page="other dates")
    status = 422 if form.is_bound and form.errors else 200
    context = {"patient": patient, "form": form, "effect": effect, "back": page_of(patient), **more}
    return render(request, template, context, status=status)
