"""List the plain entries that settle each duty, and which duty follows from each; data only.

What ends by a row of its own (a procedure, a picture, a diagnosis) has no entry here for that end.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext_lazy as _

from clinic.access import Act
from clinic.duties.kinds import KINDS
from clinic.wording import Words


@dataclass(frozen=True)
class Outcome:
    """`needs`: fields that are not empty; `then`: the duty that it opens; `act`: where the kind's own is not enough.

    A day that is needed (“until”) is the day of what follows.
    """

    code: str
    words: Words
    needs: tuple[str, ...] = ()
    then: str = ""
    act: Act | None = None
    then_urgent: bool = False


_WORD, _WHOM = ("words",), ("whom",)
# Tissue that is lost was taken for a reason: only a dermatologist may end it, and must say what now.
_LOST = Outcome(
    "lost",
    _("tissue lost: no report will come"),
    _WORD,
    "decide_what_follows",
    Act.END_DUTIES,
    then_urgent=True,
)
_ANSWERED = (
    Outcome("elsewhere", _("done elsewhere"), _WORD),
    Outcome("planned", _("planned"), _WORD),
    Outcome("not_wanted", _("not wanted"), _WORD),
)

OUTCOMES: Final[Mapping[str, tuple[Outcome, ...]]] = {
    # Each of these but the first goes back to the desk with a day, so that it never ends in “later”.
    "decide_what_follows": (
        Outcome("decided", _("decided otherwise, and what follows"), _WORD),
        Outcome("try_on", _("the desk goes on trying until a day"), ("until",), "try_on"),
        Outcome("letter", _("write a letter, by a day: what it says"), ("until", "words"), "write_letter"),
        Outcome("referrer", _("ask who referred the patient, by a day"), ("until", "whom"), "ask_referrer"),
    ),
    # Not reached goes back to the dermatologist: trying on never ends by itself.
    "try_on": (
        Outcome("not_reached", _("not reached until then"), _WORD, "decide_what_follows"),
        Outcome("reached", _("reached, and what was agreed"), _WORD),
    ),
    "write_letter": (Outcome("sent", _("sent"), _WHOM),),
    "ask_referrer": (
        Outcome("answered", _("answered, and what was said"), _WORD, "decide_what_follows"),
        Outcome("no_answer", _("no answer can be had"), _WORD, "decide_what_follows"),
    ),
    "agree": (
        Outcome("agree", _("they agree, and why"), _WORD),
        Outcome(
            "disagree",
            _("they do not agree: what is asked of whom"),
            _WORD,
            "decide_what_follows",
            then_urgent=True,
        ),
    ),
    # What they said is entered as their answer; this is the other end, so that nobody waits for ever.
    "hear_outside": (Outcome("no_answer", _("no answer will come"), _WORD),),
    "send_referral": (Outcome("sent", _("sent"), _WHOM, "accept_referral"),),
    "accept_referral": (
        Outcome("accepted", _("accepted"), _WHOM, "answer_referral"),
        Outcome("refused", _("refused"), _WORD, "decide_what_follows", then_urgent=True),
    ),
    "answer_referral": (Outcome("answered", _("their letter is here"), (), "read_letter"),),
    "read_letter": (Outcome("read", _("read, and what it says"), _WORD),),
    "send_specimen": (Outcome("sent", _("sent to the laboratory"), _WHOM, "confirm_specimen"), _LOST),
    "confirm_specimen": (Outcome("received", _("received by the laboratory")), _LOST),
    "report": (
        Outcome("none", _("no report can be had"), _WORD, "decide_what_follows", Act.END_DUTIES, True),
    ),
    "match_report": (
        Outcome("filed", _("filed with the patient of this record number (“to whom”)"), _WHOM),
        Outcome("returned", _("returned to the laboratory, with a word"), _WORD),
    ),
    # Nothing is read without somebody then having to tell it: an untold result is the gravest thing to lose.
    "read": (Outcome("read", _("read"), (), "tell"),),
    "margins": _ANSWERED,
    "node": _ANSWERED,
    "meeting": _ANSWERED,
    "tell": (
        Outcome("told", _("told"), ("told_to", "how", "words")),
        Outcome(
            "cannot", _("cannot be told: told to somebody else, or to nobody"), _WORD, act=Act.END_DUTIES
        ),
    ),
    "complete": (Outcome("unknown", _("will not be known"), _WORD, act=Act.END_DUTIES),),
    "rebook": (Outcome("confirmed", _("confirmed: this day is in order"), _WORD, act=Act.END_DUTIES),),
    "find_a_way": (Outcome("decided", _("decided what follows"), _WORD, act=Act.END_DUTIES),),
    "file_call": (
        Outcome("filed", _("filed under the patient with this record number (“to whom”)"), _WHOM),
        Outcome("nobody", _("no patient of ours; a second person says so"), _WORD),
    ),
    "hand_over": (Outcome("handed_over", _("handed over"), ("whom", "words")),),
}


def outcomes_of(kind: str) -> tuple[Outcome, ...]:
    return OUTCOMES.get(kind, ())


def act_of(kind: str, outcome: Outcome) -> Act:
    return outcome.act or KINDS[kind].may_end
