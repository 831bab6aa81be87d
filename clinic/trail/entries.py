"""What this app writes into the audit trail, and its tables that are only added to."""

from collections.abc import Mapping
from typing import Final

from django.utils.translation import gettext_lazy as _

from clinic.models import (
    AuditRecord,
    Authority,
    CareEnd,
    EndGround,
    Merge,
    MovedRow,
    PairReason,
    PatientStatus,
    PhotoConsent,
    PolicyKind,
    ReadRecord,
    Role,
    RouteKind,
    Step,
    StruckStep,
    Tier,
    Unmerge,
)
from clinic.models.base import AppendOnly
from clinic.trail.audit import Action
from clinic.wording import Words

ACTIONS: Final[Mapping[str, Action]] = {
    "patient.register": Action(_("registered the patient"), True),
    "patient.amend": Action(_("amended the patient's details"), False),
    "patient.correct_birth": Action(_("corrected the date of birth"), True),
    "patient.photo_consent": Action(_("noted what the patient says to photographs"), False),
    "patient.end_care": Action(_("ended the patient's care"), True),
    "patient.care_ended": Action(_("finished handing the patient over"), True),
    "patient.resume_care": Action(_("resumed the patient's care"), True),
    "patient.add_route": Action(_("added a contact route"), False),
    "patient.kill_route": Action(_("marked a contact route as dead"), False),
    "patient.revive_route": Action(_("took back that a contact route is dead"), False),
    "patient.merge": Action(_("merged two records of one person"), True),
    "patient.merged_away": Action(_("this record was merged into another"), False),
    "patient.unmerge": Action(_("undid the merge of two records"), True),
    "patient.unmerged": Action(_("this record stands on its own again"), True),
    "pair.find": Action(_("found two records that may be one person"), False),
    "pair.two_people": Action(_("said that two records are two people"), False),
    "carer.add": Action(_("noted who looks after the patient"), False),
    "carer.end": Action(_("ended what may be said to a carer"), False),
    "risk.assess": Action(_("recorded a risk assessment"), True),
    "visit.record": Action(_("recorded a visit"), True),
    "duty.open": Action(_("opened a duty"), False),
    "duty.end": Action(_("ended a duty"), False),
    "duty.take_back": Action(_("took back the end of a duty"), False),
    "duty.withdraw": Action(_("withdrew a duty that followed from a mistake"), False),
    "duty.give": Action(_("named who does what is owed"), False),
    "duty.put_off": Action(_("put a duty off to a later day"), False),
    "proposal.make": Action(_("proposed to end something that is owed"), False),
    "proposal.confirm": Action(_("confirmed what was proposed"), False),
    "proposal.refuse": Action(_("refused what was proposed"), False),
    "visit.take_back": Action(_("took back a visit"), True),
    "policy.draft": Action(_("drafted a policy"), False),
    "policy.propose": Action(_("proposed a policy"), False),
    "policy.approve": Action(_("approved a policy"), False),
    "staff.add": Action(_("added a member of staff"), False),
    "staff.amend": Action(_("changed a member of staff"), False),
    "staff.leave": Action(_("noted that a member of staff is away"), False),
    "staff.withdraw_leave": Action(_("took back that a member of staff is away"), False),
}
CODES: Final[Mapping[str, Mapping[str, Words]]] = {
    "authority": dict(Authority.choices),
    "kind": {**dict(RouteKind.choices), **dict(PolicyKind.choices)},
    "reason": dict(PairReason.choices),
    "role": dict(Role.choices),
    "route": dict(RouteKind.choices),
    "status": dict(PatientStatus.choices),
    "ground": dict(EndGround.choices),
    "tier": dict(Tier.choices),
}
APPEND_ONLY: Final[tuple[type[AppendOnly], ...]] = (
    AuditRecord,
    CareEnd,
    Merge,
    MovedRow,
    PhotoConsent,
    ReadRecord,
    Step,
    StruckStep,
    Unmerge,
)
