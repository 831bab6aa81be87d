"""Recalls in the clinic's words, and their year strips, for every page that shows them."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, Protocol

from clinic.charts.year_strip import Dot, Kind, Strip, Window
from clinic.days import write_day
from clinic.models import Visit
from clinic.models.visit import Purpose
from lesions.register.subjects import in_words as in_words_of
from scheduling.models import Override, Recall, RecallState
from scheduling.planning import ladder
from scheduling.rules import dates
from scheduling.rules.plan import lateness, wording
from scheduling.rules.plan.plan import Due

LAST_DAYS = 7
_BEFORE, _AFTER = timedelta(days=190), timedelta(days=110)
FLAGS = {
    "found": "read in a published text",
    "found-2nd": "second-hand, confirm before use",
    "memory H": "from memory, to be checked",
    "memory M": "from memory, to be checked before it is relied on",
    "derived": "worked out from published figures",
    "design": "a choice of the clinic",
}


class About(Protocol):
    @property
    def subject(self) -> str: ...


def subjects(recalls: Iterable[About]) -> dict[str, str]:
    """Key of a lesion, procedure or diagnosis → what and where it is, in a query of each kind for a whole list."""
    return in_words_of({row.subject for row in recalls})


def what_for(recall: Recall, places: dict[str, str]) -> str:
    """Full skin check, number 5; Picture of a lesion: lesion 2, LEFT upper arm"""
    what = what_is_planned(recall, places)
    counted = recall.number > 1 and not recall.subject.startswith("lesion:")
    return f"{what}, number {recall.number}" if counted else what


def what_is_set(row: Override, places: dict[str, str]) -> str:
    """Full skin check every 6 months until 1 Jan 2028; Picture of a lesion on 6 Mar 2027: lesion 2, LEFT arm"""
    what = row.get_purpose_display().capitalize()
    when = f"on {write_day(row.date)}" if row.date else f"every {interval_words(row.interval)}"
    end = f" until {write_day(row.until)}" if row.until else ""
    return f"{what} {when}{end}{_where(row, places)}"


def what_is_planned(row: Recall | Due, places: dict[str, str]) -> str:
    """A duty without the number of its occurrence."""
    return f"{Purpose(row.purpose).label.capitalize()}{_where(row, places)}"


def _where(row: About, places: dict[str, str]) -> str:
    return "" if row.subject == "patient" else f": {places.get(row.subject, row.subject)}"


def interval_words(interval: str) -> str:
    return wording.duration_words(dates.parse(interval)).removeprefix("1 ")


def how_near(recall: Recall, today: date) -> str:
    """How the window stands to today, in one clause."""
    late = lateness.days_late(recall.latest, today)
    if late:
        return f"{late} day{'s' if late > 1 else ''} past the last day of the window"
    left = (recall.latest - today).days
    if left == 0:
        return "the last day of the window is today"
    if today < recall.earliest:
        return f"the window opens on {write_day(recall.earliest)}"
    return f"{left} day{'s' if left > 1 else ''} left in the window"


def waits_since(recall: Recall) -> date:
    """The day on which it came, or should have come, on the list."""
    return lateness.opens_on(recall.earliest, ladder.ladder_of(recall.urgency).lead_days)


def kind(recall: Recall, today: date) -> Kind:
    if (recall.latest - today).days <= LAST_DAYS:
        return "care"
    return "planned" if recall.state == RecallState.PLANNED else "open"


def strip_of(recall: Recall, visits: Iterable[date], today: date) -> Strip:
    """The window of one recall among the visits of the last half year."""
    start = min(today - _BEFORE, recall.earliest - timedelta(days=20))
    end = max(today + _AFTER, recall.latest + timedelta(days=20))
    if end - start > 3 * (_BEFORE + _AFTER):
        start, end = today - _BEFORE, today + _AFTER
    label = recall.get_purpose_display()
    window = Window(recall.earliest, recall.target, recall.latest, kind(recall, today), label)
    return Strip(start, end, today, windows=[window], dots=[Dot(day, "visit") for day in visits])


def visit_days(patient_ids: Iterable[int], since: date) -> dict[int, list[date]]:
    days: dict[int, list[date]] = defaultdict(list)
    rows = Visit.objects.filter(patient__in=list(patient_ids), attended_on__gte=since).order_by("attended_on")
    for patient_id, day in rows.values_list("patient_id", "attended_on"):
        days[patient_id].append(day)
    return days


def policy_line(policy: Any) -> str:
    """Which rules, since when, by whom; `policy` with both signatures loaded."""
    signed = f"proposed by {policy.proposed_by}, approved by {policy.approved_by}"
    return f"Rule set {policy.version}, in force since {write_day(policy.in_force_from)}, {signed}."
