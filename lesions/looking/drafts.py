"""What somebody has begun to decide, kept on the server until it is signed."""

from collections.abc import Mapping
from typing import Any

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member
from lesions.models import Draft, Impression, Review, ReviewState

SAID = ("decision", "months", "note", "in_person")
LONGEST_NOTE = 4000


class NothingWaits(ValueError):
    """Raised where a draft comes for what is decided, or was replaced by a newer picture."""


def find(review: Review, by: Member) -> Draft | None:
    """Find what this member has begun to decide about a lesion."""
    return Draft.objects.filter(review=review, member=by).first()


def keep(*, review: Review, by: Member, said: Mapping[str, Any]) -> Draft:
    """Keep what is filled in so far; a later save replaces an earlier one. A draft is no act and leaves no record."""
    require(by, Act.SIGN_OFF)
    _check_waits(review)
    # Only what the form asks: a draft is sent by a script while somebody types, and nobody checks it.
    kept = {name: str(said[name])[:LONGEST_NOTE] for name in SAID if said.get(name)}
    return _save(review, by, said=kept)


def key_impression(*, review: Review, by: Member, impression: str) -> Draft:
    """Keep the first impression, keyed before figures and reasons are shown; it is given once and never changed."""
    require(by, Act.SIGN_OFF)
    if impression not in Impression.values:
        raise ValueError(impression)
    _check_waits(review)
    before = find(review, by)
    # The first one counts: changed after the figures were seen it would be no first impression.
    return before if before and before.impression else _save(review, by, impression=impression)


def _check_waits(review: Review) -> None:
    if review.state != ReviewState.WAITING:
        raise NothingWaits


def _save(review: Review, by: Member, **fields: Any) -> Draft:
    row, _ = Draft.objects.update_or_create(
        review=review, member=by, defaults=fields | {"changed_at": clock.now()}
    )
    return row


def take(review: Review, by: Member) -> Draft | None:
    """Take the draft of whoever signs off the table; drafts of others stay, and meet the conflict page."""
    row = find(review, by)
    if row:
        Draft.objects.filter(pk=row.pk).delete()
    return row
