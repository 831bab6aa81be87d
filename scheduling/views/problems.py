"""Pages of what the rules cannot answer: the list, and where a dermatologist says what follows."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow
from clinic.merging import pairs
from clinic.models import StaleRow
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import conflict, page_form, page_of
from clinic.wording import write_day
from scheduling.forms import WhatFollowsForm
from scheduling.models import PlanProblem
from scheduling.pages.last_count import last_count
from scheduling.planning import wording as plan_words
from scheduling.planning.problems import open_problems
from scheduling.problem_links import links_of
from scheduling.recalls import overrides, what_follows
from scheduling.recalls.closing import RecallRefused


@allow(Act.SEE_MISSED)
def problems(request: StaffRequest) -> HttpResponse:
    """List the problems, the oldest first, each with the page that mends it."""
    found = page_of_rows(open_problems().select_related("patient"), request)
    shown = list(found.object_list)
    rows = [{"row": row, "link": link} for row, link in zip(shown, links_of(shown), strict=True)]
    waiting = pairs.open_pairs().count()
    context = {"page": found, "rows": rows, "count": last_count(request), "pairs": waiting}
    return render(request, "scheduling/problems.html", context)


@allow(Act.OVERRIDE)
def answer_problem(request: StaffRequest, pk: int) -> HttpResponse:
    """Say what follows after the last phase of a schedule; where somebody waits longer, both days are shown first."""
    problem = get_object_or_404(PlanProblem.objects.select_related("patient"), pk=pk)
    patient = problem.patient
    # A link in an e-mail or a tab of yesterday.
    if problem.gone_on or not what_follows.can_answer(problem):
        messages.info(request, _("This is answered already."))
        return redirect("clinic:patient", patient.pk)
    every = plan_words.interval_words(problem.params["every"])
    form = WhatFollowsForm(request.POST or None, every=every, initial={"revision": patient.facts_revision})
    if form.is_valid():
        try:
            what_follows.answer_what_follows(problem=problem, by=request.user, **form.answer())
        except StaleRow as error:
            return conflict(request, error, page_of(patient))
        except overrides.Lengthens as error:
            _ask_to_accept(form, error)
        except (overrides.OverrideRefused, RecallRefused) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Answered; the plan follows it from now on."))
            return redirect("clinic:patient", patient.pk)
    more: dict[str, Any] = {"back": page_of(patient), "button": _("Sign the answer"), "patient": patient}
    note = plan_words.problem_words(problem)
    return page_form(request, form, _("Say what follows"), note=note, **more)


def _ask_to_accept(form: WhatFollowsForm, error: overrides.Lengthens) -> None:
    """Show both days before a later one is signed."""
    before, after = error.effect.before, error.effect.after
    days = [write_day(due.target) if due else _("none") for due in (before, after)]
    said = _("Without this answer: %(before)s; with it: %(after)s. Tick to accept the later day.")
    form.add_error("accepted", said % {"before": days[0], "after": days[1]})
