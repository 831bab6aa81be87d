"""What stood before whoever signs: the very pictures, sealed into the form and held against the rows."""

from dataclasses import asdict, dataclass

from django.core import signing
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member
from lesions.models import Comparison, Delivery, Image, Look, Review
from lesions.pictures import storage

_SALT = "lesions.showing"


class NotShown(ValueError):
    """The pictures were not shown to this member, or are not the ones any more; the sentence says which."""


@dataclass(frozen=True)
class Shown:
    """What a page showed to whom, and when it was made."""

    review: int
    member: int
    comparison: int | None
    images: tuple[str, ...]
    at: float


def pictures_of(review: Review, comparison: Comparison | None) -> list[Image]:
    """List the pictures that a page with this comparison shows, the earlier first."""
    earlier = [comparison.earlier.image] if comparison else []
    return [*earlier, review.assessment.image]


def seal(review: Review, comparison: Comparison | None, *, to: Member) -> str:
    """Seal what is shown into words that a browser can carry and nobody can change."""
    # The copy that the browser got, since that is what was looked at.
    images = tuple(image.derivative_sha256 for image in pictures_of(review, comparison))
    key = comparison.pk if comparison else None
    return signing.dumps(asdict(Shown(review.pk, to.pk, key, images, clock.now().timestamp())), salt=_SALT)


def unseal(sealed: str, *, by: Member, review_id: int) -> Shown:
    """Read a seal again. Raises NotShown for one that is none, or is another member's or another review's."""
    try:
        said = signing.loads(sealed, salt=_SALT)
    except signing.BadSignature as error:
        raise NotShown(
            _("The page does not say which pictures it showed. Load it again, look, then sign.")
        ) from error
    shown = Shown(**said | {"images": tuple(said["images"])})
    if (shown.member, shown.review) != (by.pk, review_id):
        raise NotShown(_("This page was made for somebody else or for another lesion. Load it again."))
    return shown


def record_look(*, shown: Shown, by: Member) -> Look:
    """Record that both pictures stood visible before this member: the browser says so once, when both are decoded."""
    require(by, Act.SEE_PICTURES)
    return Look.objects.create(
        review_id=shown.review,
        comparison_id=shown.comparison,
        member=by,
        images=list(shown.images),
        at=clock.now(),
    )


def compared(review: Review, shown: Shown | None) -> Comparison | None:
    """Find the comparison that was on the screen. Raises NotShown where it is not one of this picture any more."""
    if shown is None:
        return review.comparison
    if shown.comparison is None:
        return None
    rows = Comparison.objects.select_related("earlier__image").filter(later=review.assessment_id)
    found = rows.filter(pk=shown.comparison).first()
    if found is None:
        raise NotShown(
            _("The comparison that was shown is not one of this picture any more. Load the page again.")
        )
    return found


def check(review: Review, comparison: Comparison | None, by: Member, shown: Shown | None) -> None:
    """Check that this member was sent these very pictures and that none has changed since. Raises NotShown."""
    pictures = pictures_of(review, comparison)
    if shown and shown.images != tuple(picture.derivative_sha256 for picture in pictures):
        raise NotShown(_("The pictures are not those that were shown. Load the page again, look, then sign."))
    # Since the review opened: a picture seen months ago was seen without what lies beside it now.
    got = Delivery.objects.filter(image__in=pictures, member=by, at__gte=review.opened_at)
    if got.count() < len(pictures):
        raise NotShown(_("These pictures were not shown to you yet. Open them, look, then sign."))
    # Read once more before signing: what is signed must still be there when it is asked for.
    if not all(storage.verify(picture.derivative_sha256) for picture in pictures):
        raise NotShown(_("A stored picture has changed or is missing; nothing can be signed on it."))


def first_look(shown: Shown) -> Look | None:
    """Find the first recorded look of this member at these very pictures."""
    looks = Look.objects.filter(review=shown.review, member=shown.member, comparison=shown.comparison)
    return looks.filter(images=list(shown.images)).first()


def seconds_looked(shown: Shown | None) -> int | None:
    """Count the seconds since the first look, or since the page was made where no browser recorded one."""
    if shown is None:
        return None
    look = first_look(shown)
    began = look.at.timestamp() if look else shown.at
    return max(0, round(clock.now().timestamp() - began))
