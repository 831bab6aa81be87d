"""Write recalls in the clinic's words and draw their year strips, for every page that shows them."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, Protocol

from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic.charts.year_strip import Dot, Kind, Strip, Window
from clinic.models import Visit
from clinic.models.visit import Purpose
from clinic.wording import write_day
from lesions.register.subjects import in_words as in_words_of
from scheduling.models import OPEN, Appointment, Override, Recall, RecallState
from scheduling.planning.wording import interval_words, say_because
from scheduling.rules.plan import lateness

LAST_DAYS = 7  # of a window, drawn with care; a choice, no source
_BEFORE, _AFTER = timedelta(days=190), timedelta(days=110)


class About(Protocol):
    @property
    def subject(self) -> str: ...


class Duty(About, Protocol):
    @property
    def purpose(self) -> str: ...


def subjects(recalls: Iterable[About]) -> dict[str, str]:
    """Say what and where each lesion, procedure or diagnosis is, with one query of each kind for a whole list."""
    return in_words_of({row.subject for row in recalls})


def what_for(recall: Recall, places: dict[str, str]) -> str:
    """Write what a recall is for: Full skin check, number 5; Picture of a lesion: lesion 2, LEFT upper arm."""
    what = what_is_planned(recall, places)
    # A lesion is photographed for years: “number 14” tells nobody anything.
    counted = recall.number > 1 and not recall.subject.startswith("lesion:")
    if not counted:
        return what
    return _("%(what)s, number %(number)s") % {"what": what, "number": recall.number}


def what_is_set(row: Override, places: dict[str, str]) -> str:
    """Write what was set: Full skin check every 6 months until 1 Jan 2028; Picture on 6 Mar 2027: lesion 2."""
    said = {"what": capfirst(row.get_purpose_display())}
    said["when"] = (
        _("on %(day)s") % {"day": write_day(row.date)} if row.date else interval_words(row.interval)
    )
    text = _("%(what)s %(when)s")
    if row.until:
        text, said["until"] = _("%(what)s %(when)s until %(until)s"), write_day(row.until)
    return f"{text % said}{_where(row, places)}"


def what_is_planned(row: Duty, places: dict[str, str]) -> str:
    """Write a duty without the number of its occurrence."""
    return f"{capfirst(Purpose(row.purpose).label)}{_where(row, places)}"


def _where(row: About, places: dict[str, str]) -> str:
    return "" if row.subject == "patient" else f": {places.get(row.subject, row.subject)}"


def appointments(keys: Iterable[str]) -> dict[str, str]:
    """Give the words of keys such as appointment:5."""
    wanted = {key.partition(":")[2] for key in keys if key.startswith("appointment:")}
    rows = Appointment.objects.filter(pk__in=wanted).select_related("resource") if wanted else ()
    return {f"appointment:{row.pk}": appointment_words(row) for row in rows}


def appointment_words(row: Appointment) -> str:
    """Write an appointment with its day, time and room."""
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
    about = say_because(asked["because"])
    if asked["ended_at"] is None:
        return _("%(asked)s A dermatologist decides what follows.") % {"asked": about}
    return _("%(asked)s %(who)s on %(day)s: %(words)s") % {
        "asked": about,
        "who": asked["ended_by__name"],
        "day": write_day(timezone.localdate(asked["ended_at"])),
        "words": _what_was_said(asked),
    }


# What a dermatologist's answer lets the desk do until a day, by its outcome.
_UNTIL_A_DAY: dict[str, Any] = {
    "try_on": gettext_lazy("go on trying until %(day)s"),
    "letter": gettext_lazy("write a letter by %(day)s"),
    "referrer": gettext_lazy("ask who referred the patient by %(day)s"),
    "decided": gettext_lazy("look again on %(day)s"),
}


def _what_was_said(asked: dict[str, Any]) -> str:
    words = str(asked["steps__words"] or asked["end_note"] or "")
    until = _UNTIL_A_DAY.get(asked["steps__outcome"] or "")
    if until is None or asked["steps__until"] is None:
        return words
    first = str(until) % {"day": write_day(asked["steps__until"])}
    return f"{first}: {words}" if words else first


def follows_an_end() -> Exists:
    """Ask of each recall whether somebody closed the one before it by hand."""
    same = {name: OuterRef(name) for name in ("patient", "purpose", "subject", "rule", "anchor")}
    before = Recall.objects.filter(state=RecallState.CLOSED, closed_by__isnull=False, **same)
    return Exists(before.filter(number=OuterRef("number") - 1))


def why_the_next(recalls: Iterable[Recall]) -> dict[int, str]:
    """Say by recall why it follows already: somebody closed the one before it by hand."""
    rows = {_occurrence(row, row.number): row.pk for row in recalls}
    closed = Recall.objects.filter(
        patient__in={row.patient_id for row in recalls}, state=RecallState.CLOSED, closed_by__isnull=False
    )
    found = {}
    for row in closed.select_related("closed_by").only(*_ENDED).order_by("ended_on", "pk"):
        following = rows.get(_occurrence(row, row.number + 1))
        if following and row.ended_on:
            found[following] = _("%(ground)s on %(day)s by %(who)s, the next one of the series") % {
                "ground": row.get_ground_display(),
                "day": write_day(row.ended_on),
                "who": row.closed_by,
            }
    return found


_ENDED = (
    *("patient", "purpose", "subject", "rule", "anchor", "number", "ground", "ended_on"),
    *("closed_by__name", "closed_by__username"),
)


def _occurrence(row: Recall, number: int) -> tuple[object, ...]:
    return row.patient_id, row.purpose, row.subject, row.rule, row.anchor, number


def how_near(recall: Recall, today: date) -> str:
    """Say in one clause how the window stands to today."""
    late = lateness.days_late(recall.latest, today)
    if late:
        return ngettext(
            "%(days)s day past the last day of the window",
            "%(days)s days past the last day of the window",
            late,
        ) % {"days": late}
    left = (recall.latest - today).days
    if left == 0:
        return _("the last day of the window is today")
    if today < recall.earliest:
        return _("the window opens on %(day)s") % {"day": write_day(recall.earliest)}
    return ngettext("%(days)s day left in the window", "%(days)s days left in the window", left) % {
        "days": left
    }


def near_in_short(recall: Recall, today: date) -> str:
    """Say in three words how the end of the window stands to today; nothing before it opens."""
    late = lateness.days_late(recall.latest, today)
    if late:
        return ngettext("%(days)s day past", "%(days)s days past", late) % {"days": late}
    if today < recall.earliest:
        return ""
    left = (recall.latest - today).days
    if left == 0:
        return _("the last day is today")
    return ngettext("%(days)s day left", "%(days)s days left", left) % {"days": left}


def kind(recall: Recall, today: date) -> Kind:
    """Say how its bar is drawn: in its last days or past them with care, planned dashed, else filled."""
    if (recall.latest - today).days <= LAST_DAYS:
        return "care"
    return "planned" if recall.state == RecallState.PLANNED else "open"


def strip_of(recall: Recall, visits: Iterable[date], today: date) -> Strip:
    """Draw the window of one recall among the visits of the last half year."""
    start = min(today - _BEFORE, recall.earliest - timedelta(days=20))
    end = max(today + _AFTER, recall.latest + timedelta(days=20))
    # A window far away would press the last half year into a few dots.
    if end - start > 3 * (_BEFORE + _AFTER):
        start, end = today - _BEFORE, today + _AFTER
    label = recall.get_purpose_display()
    window = Window(recall.earliest, recall.target, recall.latest, kind(recall, today), label)
    return Strip(start, end, today, windows=[window], dots=[Dot(day, _("visit")) for day in visits])


def visit_days(patient_ids: Iterable[int], since: date) -> dict[int, list[date]]:
    """List by patient the days of their visits since a day."""
    days: dict[int, list[date]] = defaultdict(list)
    rows = Visit.objects.filter(patient__in=list(patient_ids), attended_on__gte=since).order_by("attended_on")
    for patient_id, day in rows.values_list("patient_id", "attended_on"):
        days[patient_id].append(day)
    return days


def policy_line(policy: Any) -> str:
    """Say which rules, since when, by whom; `policy` with both signatures loaded."""
    return _("Rule set %(set)s, in force since %(day)s, proposed by %(one)s, approved by %(other)s.") % {
        "set": policy.version,
        "day": write_day(policy.in_force_from),
        "one": policy.proposed_by,
        "other": policy.approved_by,
    }
