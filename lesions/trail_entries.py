"""What this app writes into the audit trail, and its tables that are only added to."""

from collections.abc import Mapping
from typing import Final

from django.utils.translation import gettext_lazy as _

from clinic.models import ToldTo
from clinic.models.base import AppendOnly
from clinic.trail.audit import Action
from clinic.wording import Words
from lesions.models import (
    Addendum,
    Decision,
    DiagnosisCode,
    DiagnosisVersion,
    Dissent,
    Examination,
    Look,
    OutsideAnswer,
    OutsideReading,
    PictureMove,
    ProcedureKind,
    RevokedSignOff,
    Side,
    Sign,
    SignOff,
    UnmatchedReport,
)

ACTIONS: Final[Mapping[str, Action]] = {
    "lesion.add": Action(_("registered a lesion"), True),
    "lesion.amend": Action(_("amended a lesion"), True),
    "lesion.sign": Action(_("noted an urgent sign"), True),
    "lesion.concern": Action(_("noted a concern about no lesion on record"), True),
    "lesion.examine": Action(_("examined a lesion in person"), True),
    "image.add": Action(_("added a picture"), True),
    "image.refuse": Action(_("refused a file that is no picture"), False),
    "image.scale": Action(_("set the scale of a picture by hand"), False),
    "image.settle": Action(_("settled a refused file"), False),
    "image.move": Action(_("moved a picture to its lesion"), True),
    "image.set_aside": Action(_("set a picture aside"), True),
    "assessment.queue": Action(_("asked for a picture to be measured"), False),
    "assessment.done": Action(_("measured a picture"), False),
    "assessment.fail": Action(_("could not measure a picture"), False),
    "outline.draw": Action(_("drew the outline of a lesion"), False),
    "review.open": Action(_("put a lesion before a dermatologist"), False),
    "review.hand_over": Action(_("handed a waiting decision over"), False),
    "review.reopen": Action(_("put a lesion before a dermatologist again"), False),
    "signoff.record": Action(_("signed a decision"), True),
    "signoff.take_back": Action(_("took a signature back"), True),
    "signoff.dissent": Action(_("dissented from a signed decision"), False),
    "outside.ask": Action(_("asked a reader outside about a lesion"), False),
    "outside.answer": Action(_("entered what a reader outside said"), False),
    "signoff.addendum": Action(_("added to a signed decision"), False),
    "procedure.record": Action(_("recorded a procedure"), True),
    "procedure.sutures": Action(_("said whether a procedure left sutures"), True),
    "procedure.strike": Action(_("struck a procedure through, recorded in error"), True),
    "diagnosis.strike": Action(_("struck a diagnosis through, recorded in error"), True),
    "report.take": Action(_("kept a report that fits nobody"), False),
    "report.file": Action(_("filed a report that fitted nobody"), False),
    "diagnosis.record": Action(_("recorded a diagnosis"), True),
    "diagnosis.tell": Action(_("told the result"), True),
    "diagnosis.untell": Action(_("struck through that the result was told"), True),
    "diagnosis.amend": Action(_("amended a diagnosis"), True),
}
CODES: Final[Mapping[str, Mapping[str, Words]]] = {
    "code": dict(DiagnosisCode.choices),
    "decision": dict(Decision.choices),
    "kind": dict(ProcedureKind.choices),
    "side": dict(Side.choices),
    "sign": dict(Sign.choices),
    "signs": dict(Sign.choices),
    "told_to": dict(ToldTo.choices),
}
APPEND_ONLY: Final[tuple[type[AppendOnly], ...]] = (
    Addendum,
    DiagnosisVersion,
    Dissent,
    Examination,
    Look,
    OutsideAnswer,
    OutsideReading,
    PictureMove,
    RevokedSignOff,
    SignOff,
    UnmatchedReport,
)
