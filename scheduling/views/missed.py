from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from clinic import clock
from clinic.access import Act, allow
from clinic.models import Patient
from scheduling.recalls import duty_count, whereabouts, wording
from scheduling.recalls import missed as late
from scheduling.views.problems import open_problems


@allow(Act.SEE_MISSED)
def missed(request: HttpRequest) -> HttpResponse:
    """Show where everybody is, and who should have been seen and was not; `why` narrows the list."""
    rows, count = late.rows(clock.today()), whereabouts.count_now()
    night, reason = whereabouts.last_count(), request.GET.get("why", "")
    shown = [row for row in rows if row.reason == reason] if reason in late.REASONS else rows
    places = wording.subjects([row.recall for row in shown])
    context = {
        "rows": [(row, wording.what_for(row.recall, places)) for row in shown],
        "people": late.people(rows),
        "reasons": late.counts(rows),
        "reason": late.REASONS.get(reason, ""),
        "count": count,
        "ledger": [(name, whereabouts.WORDS[name], number) for name, number in count.counts.items()],
        "night": night,
        "night_alarms": _with_names([_kept(alarm) for alarm in night.alarms]) if night else [],
        "agree": whereabouts.overdue_now() == {row.patient.pk for row in rows},
        "alarms": _with_names([*count.alarms, *count.faults]),
        "ended": _with_names([count.checks_ended]),
        "problems": open_problems().count(),
    }
    return render(request, "scheduling/missed.html", context)


def _kept(alarm: dict[str, Any]) -> whereabouts.Alarm:
    return whereabouts.Alarm(alarm["code"], alarm["words"], tuple(alarm["patients"]))


def _with_names(alarms: list[whereabouts.Alarm]) -> list[tuple[str, list[Patient]]]:
    keys = {key for alarm in alarms for key in alarm.patients}
    people = Patient.objects.in_bulk(keys)
    return [(alarm.words, [people[key] for key in alarm.patients]) for alarm in alarms]


@allow(Act.SEE_MISSED)
def owed(request: HttpRequest) -> HttpResponse:
    """Show what is owed and what the lists hold, by kind, and by name what no list holds; counted as it is now."""
    rows = duty_count.count_duties()
    people = Patient.objects.in_bulk({key for row in rows for key in row.lost})
    context = {
        "rows": [(row, [people[key] for key in row.lost if key in people]) for row in rows],
        "moment": clock.now(),
        "lost": sum(len(row.lost) + len(row.strangers) for row in rows),
    }
    return render(request, "scheduling/owed.html", context)


@allow(Act.SEE_MISSED)
def bucket(request: HttpRequest, name: str) -> HttpResponse:
    """List exactly those whom the count has in this place."""
    if name not in whereabouts.WORDS:
        raise Http404(name)
    found = Patient.objects.filter(pk__in=whereabouts.patients_in(name))
    context = {"people": list(found), "words": whereabouts.WORDS[name], "moment": clock.now()}
    return render(request, "scheduling/bucket.html", context)


@allow(Act.SEE_MISSED)
def missed_csv(request: HttpRequest) -> HttpResponse:
    day = clock.today()
    answer = HttpResponse(late.as_csv(late.rows(day)), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="missed-{day}.csv"'
    return answer
