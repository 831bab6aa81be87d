"""What this app writes into the audit trail, and its tables that are only added to."""

from collections.abc import Mapping
from typing import Final

from clinic.models import AuditRecord, CareEnd, ReadRecord, Step, StruckStep
from clinic.models.base import AppendOnly
from clinic.trail.audit import Action

ACTIONS: Final[Mapping[str, Action]] = {
    "patient.register": Action("registered the patient", True),
    "patient.amend": Action("amended the patient's details", False),
    "patient.correct_birth": Action("corrected the date of birth", True),
    "patient.end_care": Action("ended the patient's care", True),
    "patient.care_ended": Action("finished handing the patient over", True),
    "patient.resume_care": Action("resumed the patient's care", True),
    "patient.add_route": Action("added a contact route", False),
    "patient.kill_route": Action("marked a contact route as dead", False),
    "patient.revive_route": Action("took back that a contact route is dead", False),
    "risk.assess": Action("recorded a risk assessment", True),
    "visit.record": Action("recorded a visit", True),
    "duty.open": Action("opened a duty", False),
    "duty.end": Action("ended a duty", False),
    "duty.take_back": Action("took back the end of a duty", False),
    "duty.withdraw": Action("withdrew a duty that followed from a mistake", False),
    "duty.give": Action("named who does what is owed", False),
    "duty.put_off": Action("put a duty off to a later day", False),
    "proposal.make": Action("proposed to end something that is owed", False),
    "proposal.confirm": Action("confirmed what was proposed", False),
    "proposal.refuse": Action("refused what was proposed", False),
    "visit.take_back": Action("took back a visit", True),
    "policy.draft": Action("drafted a policy", False),
    "policy.propose": Action("proposed a policy", False),
    "policy.approve": Action("approved a policy", False),
    "staff.add": Action("added a member of staff", False),
    "staff.amend": Action("changed a member of staff", False),
}
APPEND_ONLY: Final[tuple[type[AppendOnly], ...]] = (
    AuditRecord,
    CareEnd,
    ReadRecord,
    Step,
    StruckStep,
)
