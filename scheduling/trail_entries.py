"""What this app writes into the audit trail, and its tables that are only added to."""

from collections.abc import Mapping
from typing import Final

from clinic.models.base import AppendOnly
from clinic.trail.audit import Action
from scheduling.models import Checklist, ContactAttempt, SeriesEnd, StruckAttempt, UnfiledCall

ACTIONS: Final[Mapping[str, Action]] = {
    "checklist.fill": Action("filled in a checklist", False),
    "plan.make": Action("made the plan", False),
    "recall.open": Action("opened a recall", False),
    "recall.due": Action("put a recall on the list", False),
    "recall.move": Action("moved the dates of a recall", False),
    "recall.complete": Action("completed a recall", False),
    "recall.reopen": Action("re-opened a recall", False),
    "recall.propose_closing": Action("proposed to close a recall", False),
    "recall.close": Action("closed a recall", True),
    "recall.take_back": Action("took back that a recall was closed", True),
    "series.discharge": Action("discharged from a series of checks", True),
    "recall.supersede": Action("dropped a recall that the plan no longer asks for", False),
    "recall.accept_change": Action("accepted changed dates with a rule set", False),
    "recall.unreachable": Action("set a next look for a recall", False),
    "override.set": Action("set another interval or date in place of the rules", True),
    "override.end": Action("ended an interval or date set in place of the rules", True),
    "work.claim": Action("claimed work", False),
    "work.hand_back": Action("handed work back", False),
    "work.done": Action("finished work", False),
    "contact.attempt": Action("logged a contact attempt", False),
    "contact.strike": Action("struck a contact attempt through", False),
    "appointment.book": Action("booked an appointment", False),
    "appointment.attend": Action("recorded that the patient came", False),
    "appointment.miss": Action("recorded that the patient did not come", False),
    "appointment.cancel": Action("cancelled an appointment", False),
    "appointment.move": Action("moved an appointment", False),
    "appointment.take_back": Action("took back what was entered about an appointment", False),
    "call.take": Action("noted a call from somebody nobody could find", False),
    "call.file": Action("filed a call under a patient", False),
    "diary.session": Action("opened bookable hours", False),
    "diary.close": Action("closed the clinic for a day", False),
    "failsafe.count": Action("counted where everybody is", False),
}
APPEND_ONLY: Final[tuple[type[AppendOnly], ...]] = (
    Checklist,
    ContactAttempt,
    SeriesEnd,
    StruckAttempt,
    UnfiledCall,
)
