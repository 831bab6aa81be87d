"""Two decide at once: whoever disagrees with what was signed says so, and a third reads it or the stricter stands."""

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member
from clinic.trail import audit
from lesions.limits.flags import FlagDraft
from lesions.looking.readers import readers
from lesions.models import Decision, Dissent, Review, SignOff
from lesions.register import register
from lesions.review import owed, reviews, signoff
from lesions.review.signoff import SignOffRefused

# From the most cautious down; what is said of a photograph alone is no other decision about the lesion.
_ORDER = [value for value in Decision.values if value not in owed.OF_THE_PICTURE]


@transaction.atomic
def record(
    *, signed: SignOff, by: Member, decision: str, months: int | None = None, note: str = ""
) -> Dissent:
    """Keep another decision beside a signed one. Raises SignOffRefused.

    A third dermatologist gets it in Decisions, the first decision stands until then. Where no third one works here,
    the stricter of the two is signed and done.
    """
    require(by, Act.SIGN_OFF)
    lesion = register.lock(signed.lesion_id)
    _check(signed, by, decision)
    stands = None
    if _third_readers(signed, by):
        _ask_a_third(signed, by)
    elif _is_stricter(decision, months, signed):
        stands = signoff.sign_stricter(lesion=lesion, by=by, decision=decision, months=months, note=note)
    row = _keep(signed, by, decision, months, note, stands)
    audit.record(
        "signoff.dissent", by=by, subject=signed, patient=lesion.patient, decision=decision, months=months
    )
    return row


def _check(signed: SignOff, by: Member, decision: str) -> None:
    if signed.by_id == by.pk:
        raise SignOffRefused(_("This is your own decision: take it back, or sign a new one."))
    if decision not in _ORDER:
        raise SignOffRefused(_("This is said about a picture, and is no other decision about the lesion."))
    if not owed.standing().filter(pk=signed.pk).exists():
        raise SignOffRefused(_("The decision was taken back: decide on the lesion as it waits now."))


def _keep(
    signed: SignOff, by: Member, decision: str, months: int | None, note: str, stands: SignOff | None
) -> Dissent:
    said = {"decision": decision, "months": months, "note": note, "stands": stands}
    try:
        # A savepoint: the refusal is shown, and on PostgreSQL the outer transaction must live on to say so.
        with transaction.atomic():
            return Dissent.objects.create(signoff=signed, by=by, at=clock.now(), **said)
    except IntegrityError as error:
        raise SignOffRefused(_("You have dissented from this decision already.")) from error


def _third_readers(signed: SignOff, by: Member) -> bool:
    return readers().exclude(pk__in=(signed.by_id, by.pk)).exists()


def _ask_a_third(signed: SignOff, by: Member) -> None:
    """Put the newest picture before a third reader. Raises SignOffRefused where no picture can carry the question."""
    review = _newest(signed)
    if review is None or _open(review, signed, by) is None:
        raise SignOffRefused(
            _("No picture waits that a third could read: decide in person, or add to the decision.")
        )


def _open(review: Review, signed: SignOff, by: Member) -> Review | None:
    asked = FlagDraft("dissent", {"by": str(by)})
    kept = [draft for draft in reviews.drafts_of(review) if draft.code != asked.code]
    return reviews.open_review(
        lesion=signed.lesion,
        assessment=review.assessment,
        comparison=review.comparison,
        drafts=[asked, *kept],
        not_for=reviews.NotFor(asked_by=signed.by, dissented_by=by),
    )


def _newest(signed: SignOff) -> Review | None:
    """Find the review of the newest picture that shows this lesion and can be judged."""
    rows = Review.objects.filter(lesion=signed.lesion_id, assessment__image__lesion=signed.lesion_id)
    usable = rows.exclude(assessment__image__in=owed.unusable_pictures())
    newest = usable.select_related("assessment__image", "comparison")
    return newest.order_by("-assessment__image__taken_on", "-assessment__image", "-pk").first()


def _is_stricter(decision: str, months: int | None, signed: SignOff) -> bool:
    """Say whether a decision is more cautious than the signed one, or the same look sooner."""
    if signed.decision not in _ORDER or _ORDER.index(decision) < _ORDER.index(signed.decision):
        return True
    return decision == signed.decision == Decision.LOOK_AGAIN and (months or 0) < (signed.months or 0)
