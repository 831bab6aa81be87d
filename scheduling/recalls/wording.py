"""Write recalls in the clinic's words and draw their year strips, for every page that shows them."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, Protocol

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic.charts.year_strip import Dot, Kind, Strip, Window
from clinic.models import Visit
from clinic.models.visit import Purpose
from clinic.wording import write_day
from lesions.register.subjects import in_words as in_words_of
from scheduling.models import OPEN, Appointment, Override, Recall, RecallState
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
    """Say what and where each lesion, procedure or diagnosis is, with one query of each kind for a whole list."""
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
    """Write a duty without the number of its occurrence."""
    return f"{Purpose(row.purpose).label.capitalize()}{_where(row, places)}"


def _where(row: About, places: dict[str, str]) -> str:
    return "" if row.subject == "patient" else f": {places.get(row.subject, row.subject)}"


def appointments(keys: Iterable[str]) -> dict[str, str]:
    """Give the words of keys such as appointment:5."""
    wanted = {key.partition(":")[2] for key in keys if key.startswith("appointment:")}
    rows = Appointment.objects.filter(pk__in=wanted).select_related("resource") if wanted else ()
    return {f"appointment:{row.pk}": appointment_words(row) for row in rows}


def appointment_words(row: Appointment) -> str:
    at = timezone.localtime(row.starts_at)
    return _("appointment of %(day)s, %(time)s, %(room)s") % {
        "day": write_day(at.date()),
        "time": f"{at:%H:%M}",
        "room": row.resource,
    }


def after_appointment(visit: Appointment) -> str:
    """Say what became of the recalls of an appointment that came to nothing."""
    if visit.recalls.filter(state__in=OPEN).exists():
        return _("the recall is open again with its original dates.")
    return _("what it was booked for is finished already, so nothing is open again.")


def answer_of(asked: dict[str, Any]) -> str:
    """Say what was asked of a dermatologist, and the answer: the desk acts on it."""
    if asked["ended_at"] is None:
        return _("%(asked)s A dermatologist decides what follows.") % {"asked": asked["note"]}
    return _("%(asked)s %(who)s on %(day)s: %(words)s") % {
        "asked": asked["note"],
        "who": asked["ended_by__name"],
        "day": write_day(timezone.localdate(asked["ended_at"])),
        "words": _what_was_said(asked),
    }


# What a dermatologist's answer lets the desk do until a day, by its outcome.
_UNTIL_A_DAY: dict[str, Any] = {
    "try_on": gettext_lazy("go on trying until %(day)s"),
    "letter": gettext_lazy("write a letter by %(day)s"),
    "referrer": gettext_lazy("ask who referred the patient by %(day)s"),
}


def _what_was_said(asked: dict[str, Any]) -> str:
    words = str(asked["steps__words"] or asked["end_note"] or "")
    until = _UNTIL_A_DAY.get(asked["steps__outcome"] or "")
    if until is None:
        return words
    first = str(until) % {"day": write_day(asked["steps__until"])}
    return f"{first}: {words}" if words else first


def why_the_next(recalls: Iterable[Recall]) -> dict[int, str]:
    """Say by recall why it follows already: somebody closed the one before it by hand."""
    rows = {_occurrence(row, row.number): row.pk for row in recalls}
    closed = Recall.objects.filter(
        patient__in={row.patient_id for row in recalls}, state=RecallState.CLOSED, closed_by__isnull=False
    )
    found = {}
    for row in closed.select_related("closed_by").order_by("ended_on", "pk"):
        following = rows.get(_occurrence(row, row.number + 1))
        if following and row.ended_on:
            found[following] = _("%(ground)s on %(day)s by %(who)s, the next one of the series") % {
                "ground": row.get_ground_display(),
                "day": write_day(row.ended_on),
                "who": row.closed_by,
            }
    return found


def _occurrence(row: Recall, number: int) -> tuple[object, ...]:
    return row.patient_id, row.purpose, row.subject, row.rule, row.anchor, number


def interval_words(interval: str) -> str:
    return wording.duration_words(dates.parse(interval)).removeprefix("1 ")


def how_near(recall: Recall, today: date) -> str:
    """Say in one clause how the window stands to today."""
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
    """Give the day on which a recall came, or should have come, on the list."""
    return lateness.opens_on(recall.earliest, ladder.ladder_of(recall.urgency).lead_days)


def kind(recall: Recall, today: date) -> Kind:
    if (recall.latest - today).days <= LAST_DAYS:
        return "care"
    return "planned" if recall.state == RecallState.PLANNED else "open"


def strip_of(recall: Recall, visits: Iterable[date], today: date) -> Strip:
    """Draw the window of one recall among the visits of the last half year."""
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
    """Say which rules, since when, by whom; `policy` with both signatures loaded."""
    signed = f"proposed by {policy.proposed_by}, approved by {policy.approved_by}"
    return f"Rule set {policy.version}, in force since {write_day(policy.in_force_from)}, {signed}."
