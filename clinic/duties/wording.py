"""What is said where a duty, a step or a proposal is refused, and of what a duty follows from."""

from collections.abc import Mapping

from django.utils.translation import gettext, gettext_noop
from django.utils.translation import gettext_lazy as _

from clinic.duties.kinds import KINDS
from clinic.duties.outcomes import OUTCOMES
from clinic.formats import fault_wording
from clinic.formats.strict_toml import Fault
from clinic.models import Duty, EndGround, Proposal, Step
from clinic.wording import SPOKEN, Words

CHOOSE_THE_GROUND = _("Choose the ground.")
WHAT_STANDS_BEHIND_IT = _("Say in words what stands behind it: who said so and when, which letter.")
ERROR_NEEDS_TWO = _("“Entered in error” needs a second person, who proposes it first.")
ONLY_WHO_ENDED_IT = _("Only who ended it takes it back.")
TEN_MINUTES_ARE_OVER = _("Ten minutes are over: what is wrong is corrected by an act of its own.")
UNTIL_WHEN = _("Say until when: from tomorrow to 90 days ahead.")
WHY_IT_CAN_WAIT = _("Say in words why it can wait.")
WHAT_CAME_OF_IT = _("Say what came of it.")
MISSING = {
    "words": _("Say it in words."),
    "whom": _("Say to whom, or by whom."),
    "told_to": _("Say who was told: the patient, somebody who may be told today, or somebody else by name."),
    "until": _("Say until which day."),
    "how": _("Say how: in person, by telephone, by letter or electronically."),
}
MAY_NOT_BE_TOLD = _("This person may not be told a result that day: look again at who may be spoken to.")
WHO_AND_WHY_TOLD = _("Name who was told, and say why that person may be: nothing is said to anybody else.")
NAMED_AND_NOT_CHOSEN = _("Somebody is named who was not chosen as who was told: choose that, or name nobody.")
TOLD_AND_NOT_TOLD = _("“Cannot be told” says that the patient was not told: choose one of the two.")
THIS_STEP = _("This step")
WHY = _("Say in words why: who said so and when.")
PROPOSED_ALREADY = _("This was proposed already and waits in Decisions.")
WHY_NOT = _("Say in a word why not: the proposer reads it.")
ANOTHER_PERSON = _("Another person answers this: one of the two is a dermatologist.")
# Why the program answered a proposal itself: nothing is left of it.
SETTLED = {
    "taken_back": _("taken back meanwhile"),
    "replaced": _("replaced by a later proposal"),
    "closed": _("closed meanwhile by %(who)s"),
    "finished": _("finished meanwhile"),
    "not_asked_for": _("the plan no longer asks for it"),
    "care_ended": _("care has ended: %(ground)s"),
}


def say_acted_on(done: Duty) -> str:
    """Say why a step stays: what followed from it was done by somebody."""
    what = {"name": done.ended_by, "duty": KINDS[done.kind].words}
    if done.ended_by is None:
        return gettext("Somebody has already acted on it: %(duty)s.") % what
    return gettext("%(name)s has already acted on it: %(duty)s.") % what


def say_ending(kind: str, ground: str) -> str:
    """Say in words which duty is proposed to end, and on which ground."""
    words = {"duty": KINDS[kind].words, "ground": EndGround(ground).label}
    return gettext("%(duty)s: %(ground)s") % words


def say_answer(proposal: Proposal) -> str:
    """Say what was answered: somebody's own words, or why nothing was left to answer."""
    if proposal.answered_by_id is None and proposal.answer in SETTLED:
        said: str = str(SETTLED[proposal.answer]) % proposal.fields["settled"]
        return said
    return str(proposal.answer)


def outcome_of(step: Step) -> Words:
    """Say what was chosen for this step."""
    return _outcome(step.duty.kind, step.outcome)


def _outcome(kind: str, code: str) -> Words:
    # A code that the table no longer has is shown as it is: an old entry must stay readable.
    return next((one.words for one in OUTCOMES.get(kind, ()) if one.code == code), code)


def say_step(because: Mapping[str, str]) -> str:
    """Say from which step a duty followed: which duty that was, and what came of it."""
    kind = because["step"]
    words = {"duty": KINDS[kind].words, "outcome": _outcome(kind, because["outcome"])}
    return gettext("%(duty)s: %(outcome)s.") % words


# What is wrong with a text of limits, beside what the strict reader finds in any text.
_FAULTS = {
    "no_days": gettext_noop("must be days and urgent"),
    "urgent_longer": gettext_noop("is longer than what is not urgent"),
    "no_whole_days": gettext_noop("must be whole days"),
}


def say_fault(fault: Fault) -> str:
    """Write what is wrong with a text of limits, with its place."""
    return fault_wording.say(fault, SPOKEN, _FAULTS)
