from clinic.models.audit import AuditRecord, ReadRecord
from clinic.models.base import StaleRow, Stated, change
from clinic.models.bulk import insert_all
from clinic.models.carer import Authority, Carer
from clinic.models.chores import ChoreRun, Heartbeat
from clinic.models.duty import Duty, EndGround, Proposal, Step, StruckStep, ToldTo
from clinic.models.merge import LikelyPair, Merge, MovedRow, PairReason, PairState, Unmerge
from clinic.models.patient import (
    CareEnd,
    ContactRoute,
    NamePart,
    Patient,
    PatientStatus,
    PhotoConsent,
    RouteKind,
    Sex,
    Voicemail,
)
from clinic.models.policy import Policy, PolicyKind, PolicyState
from clinic.models.risk import AtypicalBand, Counselling, NaeviBand, Phototype, RiskAssessment, Tier
from clinic.models.staff import Leave, Member, Role
from clinic.models.tally import Tally, TallyMark
from clinic.models.visit import DoneItem, Purpose, Visit

__all__ = [
    "AtypicalBand",
    "AuditRecord",
    "Authority",
    "CareEnd",
    "Carer",
    "ChoreRun",
    "ContactRoute",
    "Counselling",
    "DoneItem",
    "Duty",
    "EndGround",
    "Heartbeat",
    "Leave",
    "LikelyPair",
    "Member",
    "Merge",
    "MovedRow",
    "NaeviBand",
    "NamePart",
    "PairReason",
    "PairState",
    "Patient",
    "PatientStatus",
    "PhotoConsent",
    "Phototype",
    "Policy",
    "PolicyKind",
    "PolicyState",
    "Proposal",
    "Purpose",
    "ReadRecord",
    "RiskAssessment",
    "Role",
    "RouteKind",
    "Sex",
    "StaleRow",
    "Stated",
    "Step",
    "StruckStep",
    "Tally",
    "TallyMark",
    "Tier",
    "ToldTo",
    "Unmerge",
    "Visit",
    "Voicemail",
    "change",
    "insert_all",
]
