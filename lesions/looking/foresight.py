"""Ask what the plan would want of a lesion if a decision were signed; the app that plans registers the answer."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from lesions.models import Lesion

# A decision that is only supposed, with its months; None is the lesion as it stands.
Supposed = tuple[str, int | None] | None


@dataclass(frozen=True)
class Foreseen:
    """What the plan asks about a lesion, in sentences, and the window of its next picture."""

    words: tuple[str, ...] = ()
    picture: tuple[date, date] | None = None


# The last argument asks for what is at hand alone: then the answer may be an empty list.
Seer = Callable[[Lesion, Sequence[Supposed], bool], list[Foreseen]]
_SEERS: list[Seer] = []


def register_seer(seer: Seer) -> None:
    """Register who can answer; the app that plans calls this in `ready()`."""
    _SEERS.append(seer)


def foresee(lesion: Lesion, supposed: Sequence[Supposed], *, at_hand: bool = False) -> list[Foreseen]:
    """Give one answer for each supposed decision, in their order; empty ones where nobody plans."""
    # One answers at most: only one app plans, and without it the page says nothing of what would follow.
    for seer in _SEERS:
        return seer(lesion, supposed, at_hand)
    return [Foreseen() for _ in supposed]
