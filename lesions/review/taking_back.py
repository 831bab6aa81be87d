"""Take back a signature, by its signer within ten minutes: what it changed returns, unless somebody already acted."""

from collections.abc import Callable

from django.db import transaction
from django.db.models import F, Max, QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger
from clinic.duties.kinds import KINDS
from clinic.models import AuditRecord, Duty, Member
from clinic.trail import audit
from lesions.models import Lesion, Review, ReviewState, RevokedSignOff, SignOff, UrgentSign
from lesions.register import register
from lesions.review import owed, reviews, signoff
from lesions.review.signoff import SignOffRefused

# Asked before it is taken back: an upper app raises SignOffRefused where somebody already acted on it.
BEFORE: list[Callable[[SignOff], None]] = []


def to_take_back(by: Member) -> QuerySet[SignOff]:
    """Find what this member signed in the last minutes and may still take back, the last first."""
    mine = owed.standing().filter(by=by, signed_at__gt=clock.now() - ledger.TAKE_BACK)
    return mine.select_related("lesion__patient").order_by("-pk")


@transaction.atomic
def take_back(*, signed: SignOff, by: Member) -> RevokedSignOff:
    """Take back a signature. Raises SignOffRefused with who did what since."""
    require(by, Act.SIGN_OFF)
    lesion = register.lock(signed.lesion_id)
    _check_own(signed, by)
    _check_nobody_acted(signed, lesion)
    for ask in BEFORE:
        ask(signed)
    row = RevokedSignOff.objects.create(signoff=signed, by=by, at=clock.now())
    owed.withdraw(signed, by=by, because=row)
    _open_signs_again(signed)
    _put_lesion_back(signed, lesion)
    if signed.review_id:
        reviews.put_back(Review.objects.get(pk=signed.review_id), ReviewState.TAKEN_BACK, by=by)
    reviews.raise_urgent(lesion)
    audit.record("signoff.take_back", by=by, subject=signed, patient=lesion.patient, decision=signed.decision)
    return row


def _check_own(signed: SignOff, by: Member) -> None:
    if signed.by_id != by.pk:
        raise SignOffRefused(_("Only who signed it takes it back."))
    if RevokedSignOff.objects.filter(signoff=signed).exists():
        raise SignOffRefused(_("This signature was taken back already."))
    if clock.now() - signed.signed_at > ledger.TAKE_BACK:
        raise SignOffRefused(_("Ten minutes are over: sign a new decision, or add to this one."))


def _check_nobody_acted(signed: SignOff, lesion: Lesion) -> None:
    later = owed.standing().filter(lesion=lesion, pk__gt=signed.pk).select_related("by").first()
    if later:
        raise SignOffRefused(
            _("%(name)s has signed “%(decision)s” since.")
            % {"name": later.by, "decision": later.get_decision_display()}
        )
    # By when it was recorded, not by its day: a procedure of yesterday entered just now was not led by this
    # signature.
    cut = lesion.procedures.filter(changed_at__gte=signed.signed_at).select_related("by").first()
    if cut:
        raise SignOffRefused(
            _("%(name)s has recorded a procedure since: %(procedure)s.")
            % {"name": cut.by, "procedure": cut.get_kind_display()}
        )
    done = owed.opened_by(signed).filter(ended_at__isnull=False).first()
    if done:
        raise SignOffRefused(_acted(done))
    _check_not_amended(signed, lesion)


def _check_not_amended(signed: SignOff, lesion: Lesion) -> None:
    left = signoff.moved_by(signed.decision, signed.months)
    # Only what this signature had moved: a new note on the lesion does not stand in the way.
    if all(getattr(lesion, name) == value for name, value in left.items()):
        return
    rows = AuditRecord.objects.filter(subject=audit.subject_of(lesion), at__gte=signed.signed_at)
    last = rows.filter(action="lesion.amend").select_related("by").order_by("-pk").first()
    if last and last.by:
        raise SignOffRefused(_("%(name)s has amended the lesion since.") % {"name": last.by})
    raise SignOffRefused(_("Somebody has amended the lesion since."))


def _acted(done: Duty) -> str:
    said = {"name": done.ended_by, "step": KINDS[done.kind].words}
    if done.ended_by:
        return _("%(name)s has already acted on it: %(step)s.") % said
    return _("Somebody has already acted on it: %(step)s.") % said


def _put_lesion_back(signed: SignOff, lesion: Lesion) -> None:
    fields = {name: signed.before[name] for name in signoff.moved_by(signed.decision, signed.months)}
    if signed.in_person:
        # The day of the last examination that still stands; simply emptied, an earlier one would be lost.
        seen = lesion.examinations.filter(signoff__revoked__isnull=True, visit__struck_at__isnull=True)
        fields["examined_in_person_on"] = seen.aggregate(Max("examined_on"))["examined_on__max"]
    if fields:
        found = Lesion.objects.filter(pk=lesion.pk)
        found.update(**fields, revision=F("revision") + 1, changed_at=clock.now())
        lesion.refresh_from_db()


def _open_signs_again(signed: SignOff) -> None:
    """Open again the signs that a signature answered, unless the same sign was noted anew on that day."""
    for sign in UrgentSign.objects.filter(answered_by__signoff=signed):
        anew = register.examinations_wanted().filter(
            lesion=sign.lesion_id, sign=sign.sign, noted_on=sign.noted_on
        )
        # Noted anew it is open already, and a unique index allows each sign once a day.
        if not anew.exists():
            UrgentSign.objects.filter(pk=sign.pk).update(answered_by=None)
