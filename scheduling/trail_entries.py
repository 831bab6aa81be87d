"""What this app writes into the audit trail, and its tables that are only added to."""

from collections.abc import Mapping
from typing import Final

from django.utils.translation import gettext_lazy as _

from clinic.models.base import AppendOnly
from clinic.trail.audit import Action
from clinic.wording import Words
from scheduling.models import (
    AppointmentState,
    Checklist,
    ChecklistKind,
    ContactAttempt,
    Ground,
    Outcome,
    PlaceKind,
    SeriesEnd,
    StruckAttempt,
    UnfiledCall,
    Urgency,
)

ACTIONS: Final[Mapping[str, Action]] = {
    "checklist.fill": Action(_("filled in a checklist"), False),
    "plan.make": Action(_("made the plan"), False),
    "recall.open": Action(_("opened a recall"), False),
    "recall.due": Action(_("put a recall on the list"), False),
    "recall.move": Action(_("moved the dates of a recall"), False),
    "recall.complete": Action(_("completed a recall"), False),
    "recall.reopen": Action(_("re-opened a recall"), False),
    "recall.propose_closing": Action(_("proposed to close a recall"), False),
    "recall.close": Action(_("closed a recall"), True),
    "recall.take_back": Action(_("took back that a recall was closed"), True),
    "series.discharge": Action(_("discharged from a series of checks"), True),
    "recall.supersede": Action(_("dropped a recall that the plan no longer asks for"), False),
    "recall.accept_change": Action(_("accepted changed dates with a rule set"), False),
    "recall.unreachable": Action(_("set a next look for a recall"), False),
    "override.set": Action(_("set another interval or date in place of the rules"), True),
    "override.end": Action(_("ended an interval or date set in place of the rules"), True),
    "work.claim": Action(_("claimed work"), False),
    "work.hand_back": Action(_("handed work back"), False),
    "work.take_over": Action(_("took work over"), False),
    "call.begin": Action(_("began a call"), False),
    "call.end": Action(_("said what came of a call"), False),
    "call.strike": Action(_("struck a call through"), False),
    "contact.attempt": Action(_("logged a contact attempt"), False),
    "contact.strike": Action(_("struck a contact attempt through"), False),
    "appointment.book": Action(_("booked an appointment"), False),
    "appointment.attend": Action(_("recorded that the patient came"), False),
    "appointment.miss": Action(_("recorded that the patient did not come"), False),
    "appointment.cancel": Action(_("cancelled an appointment"), False),
    "appointment.confirm": Action(_("recorded that the patient confirmed the appointment"), False),
    "appointment.move": Action(_("moved an appointment"), False),
    "appointment.take_back": Action(_("took back what was entered about an appointment"), False),
    "call.take": Action(_("noted a call from somebody nobody could find"), False),
    "call.file": Action(_("filed a call under a patient"), False),
    "diary.session": Action(_("opened bookable hours"), False),
    "diary.template": Action(_("set sessions that come again"), False),
    "diary.template_end": Action(_("ended sessions that come again"), False),
    "diary.session_remove": Action(_("removed bookable hours"), False),
    "diary.length": Action(_("set how long a visit lasts"), False),
    "diary.reopen": Action(_("opened a closed day again"), False),
    "diary.close": Action(_("closed the clinic for a day"), False),
    "missed.download": Action(_("downloaded the list of who was missed"), False),
    "failsafe.count": Action(_("counted where everybody is"), False),
}
_WHOSE: Final[Mapping[str, Words]] = {"clinic": _("the clinic"), "patient": _("the patient")}
CODES: Final[Mapping[str, Mapping[str, Words]]] = {
    "ground": dict(Ground.choices),
    "kind": {**dict(ChecklistKind.choices), **dict(PlaceKind.choices)},
    "outcome": dict(Outcome.choices),
    "urgency": dict(Urgency.choices),
    "whose": _WHOSE,
    "why": dict(AppointmentState.choices),
}
APPEND_ONLY: Final[tuple[type[AppendOnly], ...]] = (
    Checklist,
    ContactAttempt,
    SeriesEnd,
    StruckAttempt,
    UnfiledCall,
)
