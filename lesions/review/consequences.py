"""What a decision leads to, said before it is signed: what is owed then, what the plan asks, what is asked first."""

from dataclasses import dataclass
from datetime import date

from clinic import clock
from clinic.duties import limits
from clinic.duties.kinds import KINDS
from clinic.wording import Words
from lesions.looking import foresight
from lesions.models import Decision, Lesion
from lesions.review import owed, questions, wording

# Where the plan asks for the act itself, the ledger opens nothing beside it.
_BY_THE_PLAN = {Decision.EXCISE: "do_as_decided", Decision.BIOPSY: "do_as_decided"}


@dataclass(frozen=True)
class Owed:
    """A duty that the signature opens, with the last day on which it is in time."""

    kind: str
    words: Words
    due_on: date


@dataclass(frozen=True)
class Consequences:
    """What follows; `planned`: sentences of the plan; `asked`: what contradicts the decision or delays the patient."""

    owed: tuple[Owed, ...]
    planned: tuple[str, ...]
    asked: tuple[str, ...]


def foresee(lesion: Lesion, *, decision: str, months: int | None, note: str, urgent: bool) -> Consequences:
    """Work out what would follow if this were signed now; nothing is written."""
    found = foresight.foresee(lesion, [(decision, months)])
    return Consequences(
        tuple(_owed(lesion, decision, urgent)),
        tuple(words for one in found for words in one.words),
        tuple(wording.question(one) for one in questions.ask(lesion, decision, months, note)),
    )


def _owed(lesion: Lesion, decision: str, urgent: bool) -> list[Owed]:
    kinds = [*owed.will_follow(decision, lesion)]
    if decision in _BY_THE_PLAN:
        # First, because it is what the signature is for.
        kinds.insert(0, _BY_THE_PLAN[Decision(decision)])
    in_force, today = limits.in_force(), clock.today()
    return [Owed(kind, KINDS[kind].words, in_force[kind].due_on(today, urgent=urgent)) for kind in kinds]
