"""Pages of what the rules cannot answer: the list, and where a dermatologist says what follows."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from clinic.access import Act, allow
from clinic.models import StaleRow
from clinic.pages.responses import PAGE, conflict, page_form, page_of
from scheduling.forms import WhatFollowsForm
from scheduling.models import PlanProblem
from scheduling.problem_links import link_of
from scheduling.recalls import overrides, what_follows, whereabouts
from scheduling.recalls.closing import RecallRefused
from scheduling.rules import dates
from scheduling.rules.plan.wording import duration_words


def open_problems() -> QuerySet[PlanProblem]:
    live = {"patient__merged_into__isnull": True, "patient__status__in": ("active", "ending")}
    return PlanProblem.objects.filter(gone_on__isnull=True, **live)


@allow(Act.SEE_MISSED)
def problems(request: HttpRequest) -> HttpResponse:
    """List the problems, the oldest first, each with the page that mends it."""
    found = Paginator(open_problems().select_related("patient"), PAGE).get_page(request.GET.get("page"))
    rows = [{"row": row, "link": link_of(row)} for row in found.object_list]
    context = {"page": found, "rows": rows, "count": whereabouts.last_count()}
    return render(request, "scheduling/problems.html", context)


@allow(Act.OVERRIDE)
def answer_problem(request: HttpRequest, pk: int) -> HttpResponse:
    problem = get_object_or_404(PlanProblem.objects.select_related("patient"), pk=pk)
    patient = problem.patient
    if problem.gone_on or not what_follows.can_answer(problem):
        messages.info(request, "This is answered already.")
        return redirect("clinic:patient", patient.pk)
    every = duration_words(dates.parse(problem.params["every"]))
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
            messages.success(request, "Answered; the plan follows it from now on.")
            return redirect("clinic:patient", patient.pk)
    more: dict[str, Any] = {"back": page_of(patient), "button": "Sign the answer", "patient": patient}
    return page_form(request, form, "Say what follows", note=problem.text, **more)


def _ask_to_accept(form: WhatFollowsForm, error: overrides.Lengthens) -> None:
    """Show both days before a later one is signed."""
    before, after = error.effect.before, error.effect.after
    days = [str(due.target) if due else "none" for due in (before, after)]
    form.add_error(
        "accepted", f"Without this answer: {days[0]}; with it: {days[1]}. Tick to accept the later day."
    )
