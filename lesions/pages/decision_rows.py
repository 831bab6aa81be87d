"""Make the rows of Decisions: who, which lesion, why it waits first of all, and where it is looked at."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from clinic.addresses import address_of
from clinic.pages.said import Said, who
from clinic.people import finding
from lesions.models import Review
from lesions.pages.said_of_lesions import lesion_line
from lesions.register import register
from lesions.review import wording


def rows(reviews: Sequence[Review], of: str) -> list[dict[str, Any]]:
    """Write the rows of one page in words, so that the template only writes them down; `of` names another list."""
    said, shared = Said(), finding.shared_names([review.lesion.patient for review in reviews])
    return [_row(review, shared, said) | _door(review, of) for review in reviews]


def _row(review: Review, shared: set[int], said: Said) -> dict[str, Any]:
    lesion, why = review.lesion, vars(review)["why"]
    return who(lesion.patient, said) | {
        "same_name": lesion.patient_id in shared,
        "urgent": review.urgent,
        "line": lesion_line(lesion, said),
        "sign": _sign(review, said),
        # Whoever draws this one looks before the figures: the list must not give them away either.
        "hidden": review.look_first,
        "first": wording.flag_words(why[0]) if why else None,
        "more": said.more(len(why) - 1),
        "since": _since(review, said),
        "thumb": f"{address_of('lesions:view_image', review.assessment.image_id)}?thumb=1",
    }


def _door(review: Review, of: str) -> dict[str, str]:
    words = {"label": review.lesion.label, "patient": review.lesion.patient}
    address = address_of("lesions:decision", review.pk)
    return {
        "look": f"{address}?list={of}" if of else address,
        "look_at": _("Look at lesion %(label)s of %(patient)s") % words,
    }


def _sign(review: Review, said: Said) -> str:
    for sign in register.still_open(vars(review.lesion)["signs"]):
        words = {"sign": sign.get_sign_display(), "on": said.day(sign.noted_on)}
        return _("noted as %(sign)s on %(on)s, not examined in person since") % words
    return ""


def _since(review: Review, said: Said) -> str:
    day = said.day(review.opened_at)
    return said.once(("since", day), lambda: _("since %(since)s") % {"since": day})
