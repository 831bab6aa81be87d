"""List the plain entries that settle each duty, and which duty follows from each; data only.

What ends by a row of its own (a procedure, a picture, a diagnosis) has no entry here for that end.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from clinic.access import Act
from clinic.duties.kinds import KINDS


@dataclass(frozen=True)
class Outcome:
    """`needs`: fields that are not empty; `then`: the duty that it opens; `act`: where the kind's own is not enough.

    A day that is needed (“until”) is the day of what follows.
    """

    code: str
    words: str
    needs: tuple[str, ...] = ()
    then: str = ""
    act: Act | None = None
    then_urgent: bool = False


_WORD, _WHOM = ("words",), ("whom",)
_LOST = Outcome(
    "lost", "tissue lost: no report will come", _WORD, "decide_what_follows", Act.END_DUTIES, then_urgent=True
)
_ANSWERED = (
    Outcome("elsewhere", "done elsewhere", _WORD),
    Outcome("planned", "planned", _WORD),
    Outcome("not_wanted", "not wanted", _WORD),
)

OUTCOMES: Final[Mapping[str, tuple[Outcome, ...]]] = {
    "decide_what_follows": (
        Outcome("decided", "decided otherwise, and what follows", _WORD),
        Outcome("try_on", "the desk goes on trying until a day", ("until",), "try_on"),
        Outcome("letter", "write a letter, by a day: what it says", ("until", "words"), "write_letter"),
        Outcome("referrer", "ask who referred the patient, by a day", ("until", "whom"), "ask_referrer"),
    ),
    "try_on": (
        Outcome("not_reached", "not reached until then", _WORD, "decide_what_follows"),
        Outcome("reached", "reached, and what was agreed", _WORD),
    ),
    "write_letter": (Outcome("sent", "sent", _WHOM),),
    "ask_referrer": (
        Outcome("answered", "answered, and what was said", _WORD, "decide_what_follows"),
        Outcome("no_answer", "no answer can be had", _WORD, "decide_what_follows"),
    ),
    "agree": (
        Outcome("agree", "they agree, and why", _WORD),
        Outcome(
            "disagree",
            "they do not agree: what is asked of whom",
            _WORD,
            "decide_what_follows",
            then_urgent=True,
        ),
    ),
    "send_referral": (Outcome("sent", "sent", _WHOM, "accept_referral"),),
    "accept_referral": (
        Outcome("accepted", "accepted", _WHOM, "answer_referral"),
        Outcome("refused", "refused", _WORD, "decide_what_follows", then_urgent=True),
    ),
    "answer_referral": (Outcome("answered", "their letter is here", (), "read_letter"),),
    "read_letter": (Outcome("read", "read, and what it says", _WORD),),
    "send_specimen": (Outcome("sent", "sent to the laboratory", _WHOM, "confirm_specimen"), _LOST),
    "confirm_specimen": (Outcome("received", "received by the laboratory"), _LOST),
    "report": (Outcome("none", "no report can be had", _WORD, "decide_what_follows", Act.END_DUTIES, True),),
    "match_report": (
        Outcome("filed", "filed with the patient of this record number (“to whom”)", _WHOM),
        Outcome("returned", "returned to the laboratory, with a word", _WORD),
    ),
    "read": (Outcome("read", "read", (), "tell"),),
    "margins": _ANSWERED,
    "node": _ANSWERED,
    "meeting": _ANSWERED,
    "tell": (
        Outcome("told", "told", ("whom", "how", "words")),
        Outcome("cannot", "cannot be told: told to somebody else, or to nobody", _WORD, act=Act.END_DUTIES),
    ),
    "complete": (Outcome("unknown", "will not be known", _WORD, act=Act.END_DUTIES),),
    "rebook": (Outcome("confirmed", "confirmed: this day is in order", _WORD, act=Act.END_DUTIES),),
    "find_a_way": (Outcome("decided", "decided what follows", _WORD, act=Act.END_DUTIES),),
    "file_call": (
        Outcome("filed", "filed under the patient with this record number (“to whom”)", _WHOM),
        Outcome("nobody", "no patient of ours; a second person says so", _WORD),
    ),
    "hand_over": (Outcome("handed_over", "handed over", ("whom", "words")),),
}


def outcomes_of(kind: str) -> tuple[Outcome, ...]:
    return OUTCOMES.get(kind, ())


def act_of(kind: str, outcome: Outcome) -> Act:
    return outcome.act or KINDS[kind].may_end
