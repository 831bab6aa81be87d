"""Open and end what a signature leaves owed: a referral, a picture again, a picture put right, a report."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.duties import ledger
from clinic.models import Duty, Member
from clinic.trail.audit import subject_of
from lesions.models import (
    Assessment,
    Decision,
    Image,
    Lesion,
    Procedure,
    ProcedureKind,
    RevokedSignOff,
    SignOff,
)
from lesions.register import endings

if TYPE_CHECKING:
    from lesions.analysis.types import Measurement

# Said about one photograph: these decide nothing about the lesion, whose earlier decision stands.
OF_THE_PICTURE: Final = (Decision.INADEQUATE, Decision.WRONG_SUBJECT, Decision.SECOND_READING)
UNUSABLE: Final = (Decision.INADEQUATE, Decision.WRONG_SUBJECT)
_FOLLOWS: Final[Mapping[str, tuple[str, ...]]] = {
    Decision.REFER: ("send_referral",),
    Decision.INADEQUATE: ("repeat_picture",),
    Decision.WRONG_SUBJECT: ("put_picture_right", "repeat_picture"),
    Decision.ALREADY_REMOVED: ("report",),
}


def standing() -> QuerySet[SignOff]:
    """Find the signatures that nobody has taken back."""
    return SignOff.objects.filter(revoked__isnull=True)


def deciding() -> QuerySet[SignOff]:
    """Find the signatures that say something about the lesion, not only about a photograph."""
    return standing().exclude(decision__in=OF_THE_PICTURE)


def unusable_pictures() -> QuerySet[Image]:
    """Find pictures set aside, or called inadequate or of something else: they are no look, and not compared."""
    judged = standing().filter(
        review__assessment__image=OuterRef("pk"), lesion=OuterRef("lesion"), decision__in=UNUSABLE
    )
    return Image.objects.filter(Q(set_aside=True) | Exists(judged))


def follow(signed: SignOff, *, urgent: bool) -> None:
    """Open what a signature leaves owed; a decision on the lesion also ends the duty to repeat a picture."""
    lesion = signed.lesion
    if signed.decision not in OF_THE_PICTURE:
        subject, patient = f"lesion:{lesion.pk}", lesion.patient
        kinds = ["repeat_picture", "agree", "hear_outside"]
        ledger.end_all(kinds, by=signed.by, evidence=signed, subject=subject, patient=patient)
    for kind in will_follow(signed.decision, lesion):
        _open(kind, lesion, signed, signed.by, urgent=urgent, note=signed.note)


def will_follow(decision: str, lesion: Lesion) -> list[str]:
    """List the kinds of duty that this decision would open on this lesion."""
    return [kind for kind in _FOLLOWS.get(decision, ()) if _is_owed(kind, lesion)]


def _is_owed(kind: str, lesion: Lesion) -> bool:
    if kind == "repeat_picture":
        return _may_be_repeated(lesion)
    if kind == "report":
        cut = Procedure.objects.filter(lesion=lesion, kind__in=(ProcedureKind.BIOPSY, ProcedureKind.EXCISION))
        return not (cut.exists() or lesion.diagnoses.exists())  # its own report is waited for, or is here
    return True


def _may_be_repeated(lesion: Lesion) -> bool:
    """Say whether a repeated picture may be asked for: once for a lesion, however often a picture fails."""
    # One at a time: a camera that fails five times in a morning leaves one thing to do, not five.
    return lesion.state not in endings.ENDED and not _repeats(lesion).exists()


def _repeats(lesion: Lesion) -> QuerySet[Duty]:
    return ledger.open_duties().filter(kind="repeat_picture", subject=f"lesion:{lesion.pk}")


def _open(
    kind: str,
    lesion: Lesion,
    opened_from: SignOff | Assessment,
    by: Member | None,
    *,
    urgent: bool = False,
    note: str = "",
) -> None:
    ledger.open_duty(
        kind,
        patient=lesion.patient,
        opened_from=opened_from,
        by=by,
        subject=f"lesion:{lesion.pk}",
        urgent=urgent,
        note=note,
    )


def repeat_failed(row: Assessment, lesion: Lesion) -> None:
    """Ask for a picture again that the program could not read, unless somebody decides otherwise."""
    if _may_be_repeated(lesion):
        _open("repeat_picture", lesion, row, None)


def picture_measured(row: Assessment, found: "Measurement") -> None:
    """End the duty to repeat a picture, by a new one of good quality with a lesion in it; nobody ticks that."""
    # A poor one would bring the lesion before the same dermatologist with the same answer: take it again.
    if found.outline is None or not all(quality.ok for quality in found.quality):
        return
    for duty in _repeats(row.image.lesion):
        if _replaces(row.image, duty):
            ledger.end_duty(duty, by=None, evidence=row.image)


def _replaces(image: Image, duty: Duty) -> bool:
    """Say whether a picture replaces the unusable one: another, not older; a failed one may itself be read at last."""
    label, _, key = duty.opened_from.partition(":")
    if label == "lesions.assessment":
        failed = Assessment.objects.select_related("image").get(pk=key).image
        # A new version may read what an older one could not: then nothing has to be taken again.
        return image.pk == failed.pk or image.taken_on >= failed.taken_on
    blamed = Image.objects.filter(assessments__reviews__signoff=int(key)).first()
    # An older picture filed late shows nothing of today's skin.
    return blamed is None or (image.pk != blamed.pk and image.taken_on >= blamed.taken_on)


def is_called_wrong(image: Image, lesion: Lesion) -> bool:
    """Say whether a dermatologist signed that this picture is not of this lesion."""
    said = standing().filter(review__assessment__image=image, decision=Decision.WRONG_SUBJECT)
    return said.filter(lesion=lesion).exists()


def to_put_right(image: Image) -> Duty | None:
    """Find the open duty that lets staff move this picture, wherever it is filed by now."""
    signed = standing().filter(review__assessment__image=image, decision=Decision.WRONG_SUBJECT)
    rows = ledger.open_duties().filter(kind="put_picture_right")
    return rows.filter(opened_from__in=[subject_of(row) for row in signed]).first()


def withdraw(signed: SignOff, *, by: Member, because: RevokedSignOff) -> None:
    """Undo what a signature left owed: what it opened is owed no more, what it ended is owed again."""
    for duty in opened_by(signed).filter(ended_at__isnull=True):
        ledger.withdraw(duty, by=by, because=because)
    ledger.reopen(signed.lesion.patient, evidence=signed, by=by)


def opened_by(signed: SignOff) -> QuerySet[Duty]:
    rows = Duty.objects.filter(opened_from=subject_of(signed))
    return rows.select_related("patient", "ended_by").order_by("pk")
