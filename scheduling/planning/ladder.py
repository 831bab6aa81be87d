"""Say how often and how somebody is tried, by urgency: a clinic setting (docs/sources.md, "Reaching people")."""

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from clinic.wording import Words
from scheduling.models import Urgency


@dataclass(frozen=True)
class Ladder:
    """How somebody is tried; `lead_days` before its earliest day a recall comes on the list of the day."""

    attempts: int
    lead_days: int
    within: Words
    spacing: Words
    routes: Words
    then: Words
    closed_by_desk: bool = False


LADDERS: dict[str, Ladder] = {
    Urgency.A: Ladder(
        attempts=3,
        # No lead: what is urgent is called for on the day on which it is known.
        lead_days=0,
        within=_("5 working days"),
        spacing=_("1 to 2 working days apart, at two times of day"),
        routes=_("telephone, message, telephone, then a tracked letter the same day"),
        then=_("a dermatologist decides what follows"),
    ),
    Urgency.B: Ladder(
        attempts=3,
        lead_days=28,
        within=_("4 weeks"),
        spacing=_("7 to 10 days apart"),
        routes=_("letter or message, telephone, telephone, letter"),
        then=_("a dermatologist decides what follows"),
    ),
    Urgency.C: Ladder(
        attempts=2,
        lead_days=28,
        within=_("4 weeks"),
        spacing=_("2 to 4 weeks apart"),
        routes=_("message or letter"),
        then=_("a dermatologist decides, or the desk closes it with a ground"),
        closed_by_desk=True,
    ),
}

# One number is called twice within four hours: that is one attempt. "Cannot be reached" is looked at again.
ONE_ATTEMPT_HOURS = 4
LOOK_AGAIN_DAYS = 90


def ladder_of(urgency: str) -> Ladder:
    return LADDERS[urgency]
