from scheduling.models.checklist import Checklist, ChecklistKind
from scheduling.models.contact import DOES_NOT_COUNT, ContactAttempt, Outcome, StruckAttempt, UnfiledCall
from scheduling.models.diary import Appointment, AppointmentState, BookedCell
from scheduling.models.failsafe import FailsafeRun
from scheduling.models.hours import (
    ClosureDay,
    PlaceKind,
    PurposeLength,
    Resource,
    Session,
    SessionTemplate,
    Use,
    WorkedHoliday,
)
from scheduling.models.override import Override
from scheduling.models.recall import OPEN, Ground, Recall, RecallState, Urgency
from scheduling.models.rules import Plan, PlanProblem
from scheduling.models.run import PreviewRun, YearRun
from scheduling.models.series_end import SeriesEnd
from scheduling.models.worklist import Call, Claim, DeskLine, PartOfDay, Section, Touched

__all__ = [
    "DOES_NOT_COUNT",
    "OPEN",
    "Appointment",
    "AppointmentState",
    "BookedCell",
    "Call",
    "Checklist",
    "ChecklistKind",
    "Claim",
    "ClosureDay",
    "ContactAttempt",
    "DeskLine",
    "FailsafeRun",
    "Ground",
    "Outcome",
    "Override",
    "PartOfDay",
    "PlaceKind",
    "Plan",
    "PlanProblem",
    "PreviewRun",
    "PurposeLength",
    "Recall",
    "RecallState",
    "Resource",
    "Section",
    "SeriesEnd",
    "Session",
    "SessionTemplate",
    "StruckAttempt",
    "Touched",
    "UnfiledCall",
    "Urgency",
    "Use",
    "WorkedHoliday",
    "YearRun",
]
