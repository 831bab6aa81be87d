"""The year ahead: visits wanted in each week beside the places of the diary."""

from datetime import date
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow
from clinic.charts.columns import Bar, Chart, Column
from clinic.charts.year_strip import Kind
from clinic.wording import write_day, write_month
from scheduling.capacity import forecast_jobs
from scheduling.capacity.forecast import PUBLISHED, Forecast, Rate, Week, forecast, own_rate
from scheduling.forms import MissedRateForm
from scheduling.models import YearRun

CHOSEN = gettext_lazy("chosen on this page, no source")
ENOUGH = 50  # visits from which the clinic's own share is offered; a choice, no source


@allow(Act.SEE_WORKLIST)
def capacity(request: StaffRequest) -> HttpResponse:
    """Show the year ahead; the share of missed visits stands in the address, so a link shows the same forecast."""
    today = clock.today()
    form = MissedRateForm(request.GET if "missed" in request.GET else None)
    rates = [*PUBLISHED, *_own(today)]
    rate = _chosen(form.cleaned_data["missed"], rates) if form.is_valid() else PUBLISHED[0]
    if not form.is_bound:
        form = MissedRateForm(initial={"missed": rate.per_cent})
    wanted, run = forecast_jobs.find_forecast(today)
    if wanted is None:
        return render(request, "scheduling/waits.html", _waits(run))
    found = forecast(today, rate.per_cent / 100, wanted)
    context = {"found": found, "run": run, "form": form, "rate": rate, "rates": rates, "chart": _chart(found)}
    return render(request, "scheduling/capacity.html", context, status=422 if form.errors else 200)


@allow(Act.SEE_WORKLIST)
@require_POST
def count_anew(request: StaffRequest) -> HttpResponse:
    """Ask the worker to count the year ahead anew."""
    forecast_jobs.ask_anew(clock.today())
    return redirect("scheduling:capacity")


def _waits(run: YearRun | None) -> dict[str, Any]:
    return {
        "title": _("The year ahead is being counted"),
        "what": _(
            "The visits of every record are planned for a year; with some thousand records this takes some seconds."
        ),
        "run": run,
        "back": reverse("scheduling:diary"),
        "back_words": _("Back to the diary"),
    }


def _chosen(per_cent: float, rates: list[Rate]) -> Rate:
    return next((rate for rate in rates if rate.per_cent == per_cent), Rate(per_cent, CHOSEN))


def _own(today: date) -> list[Rate]:
    share, visits = own_rate(today)
    # A share of a few visits would swing with each one that is missed.
    if visits < ENOUGH:
        return []
    words = ngettext(
        "this clinic in the last twelve months, of %(count)s visit",
        "this clinic in the last twelve months, of %(count)s visits",
        visits,
    )
    return [Rate(round(100 * share, 1), words % {"count": visits})]


def _chart(found: Forecast) -> Chart:
    meaning: dict[Kind, str] = {
        "open": _("visits wanted"),
        "care": _("visits wanted, more than there are places"),
        "planned": _("visits wanted, no hours open yet"),
    }
    columns = [
        Column(
            _month(week.monday, first=k == 0),
            [Bar(week.visits, _kind(week))],
            limit=week.places,
            words=_("Week of %(day)s") % {"day": write_day(week.monday)},
        )
        for k, week in enumerate(found.weeks)
    ]
    return Chart(_("Visits wanted in each week, and places"), columns, meaning)


def _kind(week: Week) -> Kind:
    if week.places is None:
        return "planned"
    return "care" if week.is_over else "open"


def _month(monday: date, *, first: bool) -> str:
    """Label the week in which a month has its first Monday."""
    if not first and monday.day > 7:
        return ""
    return write_month(monday, year=first or monday.month == 1)
