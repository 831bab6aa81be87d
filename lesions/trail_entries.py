"""What this app writes into the audit trail, and its tables that are only added to."""

from collections.abc import Mapping
from typing import Final

from clinic.models.base import AppendOnly
from clinic.trail.audit import Action
from lesions.models import (
    Addendum,
    DiagnosisVersion,
    Dissent,
    Examination,
    Look,
    PictureMove,
    RevokedSignOff,
    SignOff,
    UnmatchedReport,
)

ACTIONS: Final[Mapping[str, Action]] = {
    "lesion.add": Action("registered a lesion", True),
    "lesion.amend": Action("amended a lesion", True),
    "lesion.sign": Action("noted an urgent sign", True),
    "lesion.concern": Action("noted a concern about no lesion on record", True),
    "lesion.examine": Action("examined a lesion in person", True),
    "image.add": Action("added a picture", True),
    "image.refuse": Action("refused a file that is no picture", False),
    "image.scale": Action("set the scale of a picture by hand", False),
    "image.settle": Action("settled a refused file", False),
    "image.move": Action("moved a picture to its lesion", True),
    "image.set_aside": Action("set a picture aside", True),
    "assessment.queue": Action("asked for a picture to be measured", False),
    "assessment.done": Action("measured a picture", False),
    "assessment.fail": Action("could not measure a picture", False),
    "outline.draw": Action("drew the outline of a lesion", False),
    "review.open": Action("put a lesion before a dermatologist", False),
    "review.hand_over": Action("handed a waiting decision over", False),
    "review.reopen": Action("put a lesion before a dermatologist again", False),
    "signoff.record": Action("signed a decision", True),
    "signoff.take_back": Action("took a signature back", True),
    "signoff.dissent": Action("dissented from a signed decision", False),
    "signoff.addendum": Action("added to a signed decision", False),
    "procedure.record": Action("recorded a procedure", True),
    "procedure.sutures": Action("said whether a procedure left sutures", True),
    "procedure.strike": Action("struck a procedure through, recorded in error", True),
    "diagnosis.strike": Action("struck a diagnosis through, recorded in error", True),
    "report.take": Action("kept a report that fits nobody", False),
    "report.file": Action("filed a report that fitted nobody", False),
    "diagnosis.record": Action("recorded a diagnosis", True),
    "diagnosis.tell": Action("told the patient the result", True),
    "diagnosis.untell": Action("struck through that the patient was told", True),
    "diagnosis.amend": Action("amended a diagnosis", True),
}
APPEND_ONLY: Final[tuple[type[AppendOnly], ...]] = (
    Addendum,
    DiagnosisVersion,
    Dissent,
    Examination,
    Look,
    PictureMove,
    RevokedSignOff,
    SignOff,
    UnmatchedReport,
)
