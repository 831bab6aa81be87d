"""Say how often and how somebody is tried, by urgency: a clinic setting (docs/sources.md, "Reaching people")."""

from dataclasses import dataclass

from scheduling.models import Urgency


@dataclass(frozen=True)
class Ladder:
    """How somebody is tried; `lead_days` before its earliest day a recall comes on the list of the day."""

    attempts: int
    lead_days: int
    within: str
    spacing: str
    routes: str
    then: str
    closed_by_desk: bool = False


LADDERS: dict[str, Ladder] = {
    Urgency.A: Ladder(
        attempts=3,
        lead_days=0,
        within="5 working days",
        spacing="1 to 2 working days apart, at two times of day",
        routes="telephone, message, telephone, then a tracked letter the same day",
        then="a dermatologist decides what follows",
    ),
    Urgency.B: Ladder(
        attempts=3,
        lead_days=28,
        within="4 weeks",
        spacing="7 to 10 days apart",
        routes="letter or message, telephone, telephone, letter",
        then="a dermatologist decides what follows",
    ),
    Urgency.C: Ladder(
        attempts=2,
        lead_days=28,
        within="4 weeks",
        spacing="2 to 4 weeks apart",
        routes="message or letter",
        then="a dermatologist decides, or the desk closes it with a ground",
        closed_by_desk=True,
    ),
}

# One number is called twice within four hours: that is one attempt. "Cannot be reached" is looked at again.
ONE_ATTEMPT_HOURS = 4
LOOK_AGAIN_DAYS = 90


def ladder_of(urgency: str) -> Ladder:
    return LADDERS[urgency]
