"""Sign decisions on lesions: what waits, the signature, and what the decision changes."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from types import MappingProxyType
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from clinic import clock, policies
from clinic.access import Act, require
from clinic.models import Member, PolicyKind, StaleRow, change
from clinic.trail import audit
from clinic.wording import write_day
from lesions.limits.flags import FlagDraft
from lesions.looking import drafts, queue, showing
from lesions.looking.showing import NotShown, Shown
from lesions.models import (
    Addendum,
    Comparison,
    Decision,
    Draft,
    Lesion,
    LesionState,
    Monitoring,
    Review,
    ReviewState,
    SignOff,
)
from lesions.register import register
from lesions.review import owed, questions, reviews, wording
from lesions.review.questions import Question

# Short-term watching means about three months (ALT08, BJD08); up to four the lesion counts as watched so.
SHORT_MONTHS = 4
_KEEP_WATCHING = (Decision.REASSURE, Decision.LOOK_AGAIN, Decision.INADEQUATE)
# What can be opened beside the pictures.
TOOLS = frozenset(
    (
        "overlay",
        "wipe",
        "changed",
        "outline",
        "whole",
        "body",
        "history",
        "risk",
        "measures",
        "closer",
        "baseline",
    )
)
# Said about a picture that waits for a decision; at the bedside there is none.
OF_A_PICTURE = owed.OF_THE_PICTURE


# As long as the sheet for the laboratory still is one sheet of paper with all of it on it.
LONGEST_NOTE = 2000


class SignOffRefused(ValueError):
    """Raised where a decision cannot be signed; the text is the sentence for the page."""


class AskedFirst(SignOffRefused):
    """Raised where a question comes first: the note contradicts the decision, or the interval is long. Asked once."""

    def __init__(self, asked: list[Question]) -> None:
        self.questions = [wording.question(each) for each in asked]
        super().__init__(" ".join(self.questions))


class StaleReview(StaleRow):
    """Raised where somebody else decided, or another picture came, since the page was shown."""


@transaction.atomic
def record(
    *,
    review_id: int,
    by: Member,
    decision: str,
    revision: int,
    months: int | None = None,
    note: str = "",
    in_person: bool = False,
    all_the_same: bool = False,
    shown: Shown | None = None,
    tools: Sequence[str] = (),
) -> SignOff:
    """Sign a review once. Raises StaleReview where it changed since `revision`, AskedFirst, or SignOffRefused.

    `shown` is what the page says that it showed, `tools` what was opened beside the pictures.
    """
    require(by, Act.SIGN_OFF)
    rows = Review.objects.select_related("lesion__patient", "assessment__image", "comparison__earlier__image")
    review = rows.get(pk=review_id)
    # Lesion before review, everywhere: two locks taken in two orders would wait for each other for ever.
    review.lesion = register.lock(review.lesion_id)
    _check(review.lesion, decision, months, in_person)
    # Before the review is taken: a question leaves it waiting.
    asked = _ask(review.lesion, decision, months, note, all_the_same)
    _take(review, revision)
    _check_second_reader(review, by)
    seen = _check_shown(review, by, shown, in_person)
    about = _about(review, seen, shown, tools, drafts.take(review, by))
    signed = _sign(
        review.lesion, by, decision, months, note, in_person, asked=asked, about=about, review=review
    )
    if decision == Decision.SECOND_READING:
        _ask_again(review, by)
    elif decision in owed.UNUSABLE:
        reviews.wait_with_the_one_before(review, by=by)
    return signed


@transaction.atomic
def decide_in_person(
    *,
    lesion: Lesion,
    by: Member,
    decision: str,
    months: int | None = None,
    note: str = "",
    all_the_same: bool = False,
) -> SignOff:
    """Sign a decision made in person, without a picture: nothing delays a biopsy. Pictures go on waiting."""
    require(by, Act.SIGN_OFF)
    if decision in OF_A_PICTURE:
        raise SignOffRefused(_("This is said about a picture that waits for a decision: open it there."))
    lesion = register.lock(lesion.pk)
    _check(lesion, decision, months, in_person=True)
    asked = _ask(lesion, decision, months, note, all_the_same)
    return _sign(lesion, by, decision, months, note, in_person=True, asked=asked)


def sign_stricter(*, lesion: Lesion, by: Member, decision: str, months: int | None, note: str) -> SignOff:
    """Sign the stricter of two decisions where no third reader works here; in the caller's transaction."""
    _check(lesion, decision, months, in_person=False)
    asked = questions.ask(lesion, decision, months, note)
    return _sign(lesion, by, decision, months, note, in_person=False, asked=asked)


@transaction.atomic
def add_addendum(*, signoff: SignOff, by: Member, text: str) -> Addendum:
    """Add an addendum: a signed decision is never edited; what is added stands below it."""
    require(by, Act.SIGN_OFF)
    if not text.strip():
        raise SignOffRefused(_("Write what is to be added."))
    _check_length(text)
    row = Addendum.objects.create(signoff=signoff, text=text.strip(), by=by, at=clock.now())
    audit.record("signoff.addendum", by=by, subject=signoff, patient=signoff.lesion.patient, addendum=row.pk)
    return row


def _check_length(note: str) -> None:
    if len(note) > LONGEST_NOTE:
        raise SignOffRefused(
            _("Write it in at most %(n)s characters; more can be added below it.") % {"n": LONGEST_NOTE}
        )


def _check(lesion: Lesion, decision: str, months: int | None, in_person: bool) -> None:
    if decision not in Decision.values:
        raise SignOffRefused(_("Choose a decision."))
    if (decision == Decision.LOOK_AGAIN) != (months is not None):
        raise SignOffRefused(_("Months go with “look again”, and only with it."))
    # Two years at most: further ahead nobody is watching any more (clinic setting, no source).
    if months is not None and not 1 <= months <= 24:
        raise SignOffRefused(_("Look again in 1 to 24 months."))
    if lesion.state == LesionState.ERROR and decision != Decision.WRONG_SUBJECT:
        raise SignOffRefused(_("This lesion was entered in error."))
    if not in_person and decision in _KEEP_WATCHING:
        _check_no_urgent_sign(lesion)


def _ask(lesion: Lesion, decision: str, months: int | None, note: str, all_the_same: bool) -> list[Question]:
    questions_now = questions.ask(lesion, decision, months, note)
    if questions_now and not all_the_same:
        raise AskedFirst(questions_now)
    return questions_now


def _check_no_urgent_sign(lesion: Lesion) -> None:
    """Refuse a monitoring interval from a picture alone for a raised, firm, growing or bleeding lesion."""
    sign = register.open_signs(lesion).first()
    if sign:
        raise SignOffRefused(
            _(
                "This lesion was noted as %(sign)s on %(day)s: "
                "it must be examined in person before it can go on being watched."
            )
            % {"sign": sign.get_sign_display(), "day": write_day(sign.noted_on)}
        )


def _take(review: Review, revision: int) -> None:
    """Take the review for this signature: of two people who sign at once, one gets it."""
    now = clock.now()
    try:
        change(review, seen=revision, at=now, where={"state": ReviewState.WAITING}, state=ReviewState.SIGNED)
    except StaleRow as error:
        raise StaleReview(error.row) from error


def _check_second_reader(review: Review, by: Member) -> None:
    """Refuse whoever asked for another's reading, or dissented; unanswered at its limit it returns to who asked."""
    if by.pk not in (review.asked_by_id, review.dissented_by_id):
        return
    text = policies.texts_in_force(PolicyKind.DUTY_LIMITS).get("duty_limits")
    if Review.objects.filter(queue.not_read_by(by, text), pk=review.pk).exists():
        if by.pk == review.dissented_by_id:
            raise SignOffRefused(_("You dissented from this decision: a third dermatologist reads it."))
        raise SignOffRefused(_("You asked for the second reading: another dermatologist gives it."))


def _check_shown(review: Review, by: Member, shown: Shown | None, in_person: bool) -> Comparison | None:
    """Find the comparison that was looked at; in person the lesion itself was, and no picture need have been."""
    try:
        seen = showing.compared(review, shown)
        if not in_person:
            showing.check(review, seen, by, shown)
    except NotShown as error:
        raise SignOffRefused(str(error)) from error
    return seen


def _about(
    review: Review, seen: Comparison | None, shown: Shown | None, tools: Sequence[str], draft: Draft | None
) -> dict[str, Any]:
    """Gather what the signature keeps of the screen it was given on."""
    return {
        "seen": [picture.sha256 for picture in showing.pictures_of(review, seen)],
        "comparison": seen,
        # Only known words: the list comes from a browser, and the record is kept for good.
        "tools": sorted({tool for tool in tools if tool in TOOLS}),
        "seconds": showing.seconds_looked(shown),
        "impression": draft.impression if draft else "",
        "version": review.assessment.version,
    }


def _sign(
    lesion: Lesion,
    by: Member,
    decision: str,
    months: int | None,
    note: str,
    in_person: bool,
    *,
    asked: list[Question],
    about: Mapping[str, Any] = MappingProxyType({}),
    review: Review | None = None,
) -> SignOff:
    _check_length(note)
    now, today = clock.now(), clock.today()
    # Asked before an examination in person answers the signs: what follows is as urgent as what led to it.
    urgent = bool(review and review.urgent) or register.open_signs(lesion).exists()
    signed = SignOff.objects.create(
        lesion=lesion,
        review=review,
        decision=decision,
        months=months,
        note=note,
        in_person=in_person,
        by=by,
        signed_at=now,
        signed_on=today,
        **about,
        before={"state": lesion.state, "monitoring": lesion.monitoring},
    )
    if in_person:
        register.answer_signs(lesion=lesion, by=by, on=today, outcome=note, signoff=signed)
    # The signs first: an examination in person answers them, whatever the decision then does to the lesion.
    _move(lesion, moved_by(decision, months))
    owed.follow(signed, urgent=urgent)
    audit.record(
        "signoff.record",
        by=by,
        subject=signed,
        patient=lesion.patient,
        decision=decision,
        months=months,
        in_person=in_person,
        asked=[asdict(each) for each in asked],
    )
    return signed


def moved_by(decision: str, months: int | None) -> dict[str, Any]:
    """Give what a decision changes on the lesion; the plan follows from there."""
    if decision in (Decision.BIOPSY, Decision.EXCISE):
        return {"state": LesionState.BIOPSY_DECIDED, "monitoring": None}
    if decision == Decision.ALREADY_REMOVED:
        return {"state": LesionState.REMOVED, "monitoring": None}
    if decision == Decision.LOOK_AGAIN:
        near = (months or 0) <= SHORT_MONTHS
        return {"state": LesionState.WATCHED, "monitoring": Monitoring.SHORT if near else Monitoring.LONG}
    return {}


def _move(lesion: Lesion, fields: dict[str, Any]) -> None:
    """Change the lesion by a decision, which outranks what else changed meanwhile: no revision is asked for."""
    if fields:
        found = Lesion.objects.filter(pk=lesion.pk)
        found.update(**fields, revision=F("revision") + 1, changed_at=clock.now())
        lesion.refresh_from_db()


def _ask_again(review: Review, by: Member) -> None:
    """Let the lesion wait on for somebody else: asking for a second reading decides nothing yet."""
    asked = FlagDraft("second_reading", {"by": str(by)})
    before = [draft for draft in reviews.drafts_of(review) if draft.code != asked.code]
    reviews.open_review(
        lesion=review.lesion,
        assessment=review.assessment,
        comparison=review.comparison,
        drafts=[asked, *before],
        not_for=reviews.NotFor(asked_by=by),
    )
