from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, allow
from clinic.charts.columns import Bar, Chart, Column
from clinic.charts.year_strip import MONTHS, Kind
from clinic.wording import write_day
from scheduling.capacity import forecast_jobs
from scheduling.capacity.forecast import PUBLISHED, Forecast, Rate, Week, forecast, own_rate
from scheduling.forms import MissedRateForm
from scheduling.models import YearRun

CHOSEN = "chosen on this page, no source"
ENOUGH = 50  # visits from which the clinic's own share is offered; a choice, no source


@allow(Act.SEE_WORKLIST)
def capacity(request: HttpRequest) -> HttpResponse:
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
def count_anew(request: HttpRequest) -> HttpResponse:
    forecast_jobs.ask_anew(clock.today())
    return redirect("scheduling:capacity")


def _waits(run: YearRun | None) -> dict[str, Any]:
    return {
        "title": "The year ahead is being counted",
        "what": "The visits of every record are planned for a year",
        "run": run,
        "back": reverse("scheduling:diary"),
        "back_words": "Back to the diary",
    }


def _chosen(per_cent: float, rates: list[Rate]) -> Rate:
    return next((rate for rate in rates if rate.per_cent == per_cent), Rate(per_cent, CHOSEN))


def _own(today: date) -> list[Rate]:
    share, visits = own_rate(today)
    if visits < ENOUGH:
        return []
    return [Rate(round(100 * share, 1), f"this clinic in the last twelve months, of {visits} visits")]


def _chart(found: Forecast) -> Chart:
    meaning: dict[Kind, str] = {
        "open": "visits wanted",
        "care": "visits wanted, more than there are places",
        "planned": "visits wanted, no hours open yet",
    }
    columns = [
        Column(
            _month(week.monday, first=k == 0),
            [Bar(week.visits, _kind(week))],
            limit=week.places,
            words=f"Week of {write_day(week.monday)}",
        )
        for k, week in enumerate(found.weeks)
    ]
    return Chart("Visits wanted in each week, and places", columns, meaning)


def _kind(week: Week) -> Kind:
    if week.places is None:
        return "planned"
    return "care" if week.is_over else "open"


def _month(monday: date, *, first: bool) -> str:
    """Label the week in which a month has its first Monday."""
    if not first and monday.day > 7:
        return ""
    short: str = MONTHS[monday.month - 1]
    return f"{short} {monday.year}" if first or monday.month == 1 else short
