"""Add this app's sections to the patient page, its places to the masthead, and its notices to every page."""

from datetime import time, timedelta
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import clock
from clinic.access import Act, may
from clinic.models import Duty, Patient
from clinic.pages import duty_rows, registering
from clinic.pages.masthead import Place, add_notice, add_place
from clinic.pages.patient_page import DUE, SUBJECTS, Button, Panel, add_button, add_panel
from clinic.tally import kept_answers, tally, tally_question
from clinic.tally.kept_answers import KeptAnswer
from clinic.wording import write_day
from lesions.models import Lesion
from lesions.pages.lesion_sections import Section, add_section
from scheduling.checklists import records
from scheduling.checklists.definitions import SHEETS
from scheduling.counting import whereabouts
from scheduling.models import OPEN, ChecklistKind, DeskLine, Recall, RecallState, Touched
from scheduling.pages import last_count, patient_sections
from scheduling.pages.call_page import bring_up_to_date
from scheduling.planning.problems import open_problems
from scheduling.planning.wording import say_because
from scheduling.recalls import missed_reasons, wording
from scheduling.today import day_tally, worklists

# Half an hour after the count is due: before that it may still be running, and nobody is alarmed.
_COUNTED_BY = time(6, 30)
_AHEAD_OF_NOW = gettext_lazy(
    "A count bears a date that is still to come: a clock ran ahead. It does not count as run."
)


def open_subjects(patient: Patient) -> list[tuple[str, str]]:
    """Find what the open duties and questions are about, however old the lesion or the procedure is."""
    asked = patient_sections.open_problems(patient)
    return list(wording.subjects([*patient.recalls.filter(state__in=OPEN), *asked]).items())


def open_duties(patient: Patient) -> list[tuple[str, str]]:
    """List what is due now, as a form for a visit offers it first."""
    rows = patient.recalls.filter(state__in=(RecallState.DUE, RecallState.BOOKED)).order_by("latest", "pk")
    places = wording.subjects(rows)
    return [(f"{row.purpose}|{row.subject}", wording.what_for(row, places)) for row in rows]


def checklists_section(lesion: Lesion, request: HttpRequest) -> dict[str, Any]:
    """List the published checklists that were filled in for a lesion."""
    rows = [(row, SHEETS[row.kind]) for row in records.filled(lesion)]
    return {
        "lesion": lesion,
        "rows": [(row, sheet, sheet.answers(row.entries)) for row, sheet in rows],
        "kinds": ChecklistKind.choices,
        "may_fill": may(request.user, Act.FILL_CHECKLIST),
    }


def count_notice(request: HttpRequest) -> list[str]:
    """Say on every page that the morning's count did not run, or does not add up."""
    now = timezone.localtime(clock.now())
    wanted = now.date() if now.time() >= _COUNTED_BY else now.date() - timedelta(days=1)
    last = last_count.newest(request)
    said: list[str] = []
    # A clock that ran ahead must not make tomorrow's count look done.
    if last and last_count.is_ahead(last):
        last, said = last_count.last_count(request), [str(_AHEAD_OF_NOW)]
    if last is None:
        said.append(
            _(
                "Nobody has counted yet where everybody is. The count runs every morning; is the worker running?"
            )
        )
    elif last.day < wanted:
        said.append(
            _("The morning's count of where everybody is did not run; the last one is of %(day)s.")
            % {"day": write_day(last.day)}
        )
    elif not last.holds:
        said.append(_("The morning's count does not add up: somebody stands nowhere. See Missed."))
    return said


def _to_reach(request: HttpRequest) -> int:
    bring_up_to_date(request)
    return duty_rows.count_of("people", request)


def _missed(request: HttpRequest) -> int:
    return duty_rows.count_of("missed", request)


def _people_missed() -> QuerySet[Patient]:
    return missed_reasons.people(clock.today())


def _all_late() -> QuerySet[Recall, tuple[int, str]]:
    return missed_reasons.in_order(clock.today())


def _missed_on_today() -> QuerySet[DeskLine]:
    return worklists.to_do().filter(patient__in=_people_missed().order_by().values("pk"))


def _appointment_door(duty: Duty) -> tuple[str, str]:
    return _("Move or cancel it"), reverse("scheduling:move", args=[duty.subject.partition(":")[2]])


def _recall_door(duty: Duty) -> tuple[str, str] | None:
    """Give the page on which a dermatologist decides what follows an attempt or a missed visit: that of the recall."""
    model, _sep, key = duty.opened_from.partition(":")
    about = {"scheduling.contactattempt": "attempts", "scheduling.appointment": "appointments"}.get(model)
    found = Recall.objects.filter(**{about: key}).first() if about else None
    return (_("Look at the recall"), reverse("scheduling:recall", args=[found.pk])) if found else None


tally_question.COUNTED["people"] = worklists.to_do
tally_question.COUNTED["touched"] = Touched.objects.all
tally_question.COUNTED["begun"] = worklists.begun
tally_question.COUNTED["to_phone"] = worklists.to_phone
tally_question.COUNTED["missed"] = _people_missed
kept_answers.ANSWERS |= day_tally.KEPT | duty_rows.KEPT
# What Missed works out of thousands of rows to show fifty.
kept_answers.ANSWERS["late"] = KeptAnswer(_all_late, missed_reasons.read)
kept_answers.ANSWERS["missed_on_today"] = KeptAnswer(_missed_on_today, QuerySet.count)
kept_answers.ANSWERS["problems"] = KeptAnswer(open_problems, QuerySet.count)
kept_answers.ANSWERS["count"] = KeptAnswer(whereabouts.counts_made, whereabouts.last_of)
tally.TURNS.append(worklists.next_to_begin)
tally.BEFORE.append(worklists.bring_up_to_date)
duty_rows.SUBJECT_WORDS.append(wording.appointments)
duty_rows.BECAUSE |= dict.fromkeys(("rebook", "decide_what_follows", "file_call"), say_because)
duty_rows.DOORS["rebook"] = _appointment_door
duty_rows.DOORS["decide_what_follows"] = _recall_door
SUBJECTS.append(open_subjects)
DUE.append(open_duties)
add_section(Section("checklists", Act.SEE_PICTURES, "scheduling/_checklists.html", checklists_section))
add_place(Place(gettext_lazy("Today"), "scheduling:today", 10, Act.SEE_WORKLIST, _to_reach))
add_place(Place(gettext_lazy("Diary"), "scheduling:diary", 60, Act.SEE_WORKLIST))
add_place(Place(gettext_lazy("Worried caller"), "scheduling:worried_who", 65, Act.NOTE_SIGNS, key="u"))
add_place(Place(gettext_lazy("Missed"), "scheduling:missed", 70, Act.SEE_MISSED, _missed))
add_place(Place(gettext_lazy("Rules"), "scheduling:rules", 80, Act.SEE_RULES))
add_button(Button(gettext_lazy("Call or book"), "scheduling:call", 10, Act.CONTACT))
add_button(Button(gettext_lazy("Worried caller"), "scheduling:worried", 15, Act.NOTE_SIGNS))
registering.GOES_ON["worried"] = "scheduling:worried"
add_notice("failsafe", count_notice)
# After the sections of lesions, which know already what most duties are about.
for key, column, order, template, context in (
    ("next", "top", 30, "_next_thing", patient_sections.next_section),
    ("plan strip", "top", 40, "_plan_strip", patient_sections.strip_section),
    ("due", "left", 50, "_due", patient_sections.due_section),
    ("overrides", "left", 60, "_overrides", patient_sections.overrides_section),
    ("reaching", "middle", 70, "_reaching", patient_sections.reaching_section),
    ("owed", "right", 80, "_also_owed", patient_sections.owed_section),
):
    add_panel(Panel(key, column, order, Act.SEE_PATIENTS, f"scheduling/{template}.html", context))
