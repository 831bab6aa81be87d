"""What a plan says, in the reader's language: why something is due, what a person must answer, what ended a recall."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final, Protocol

from django.utils.text import capfirst
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

from clinic.models import PatientStatus, Purpose
from clinic.wording import SPOKEN, Words, write_day
from lesions.models import DiagnosisCode, Sign
from scheduling.models import PlanProblem, Recall
from scheduling.rules import dates
from scheduling.rules.plan import messages
from scheduling.rules.plan.plan import Reason
from scheduling.rules.plan.wording import every_words
from scheduling.rules.plan.wording import source_words as cited
from scheduling.rules.ruleset.rule import RuleSet

OWN: Final = "override:"  # how the core names the rule of what a dermatologist set
# What finished a recall, or why the plan dropped it.
ENDINGS: Final[dict[str, Words]] = {
    "visit": gettext_lazy("done in a visit"),
    "picture": gettext_lazy("the picture was taken"),
    "examined": gettext_lazy("examined in person"),
    "as_decided": gettext_lazy("done as decided"),
    "otherwise": gettext_lazy("decided otherwise"),
    "told": gettext_lazy("the result was told"),
    "replaced": gettext_lazy("the plan now asks for %(rule)s, number %(number)s, by %(latest)s"),
    "care_ended": gettext_lazy("care has ended: %(status)s"),
    "not_asked_for": gettext_lazy("the plan no longer asks for it"),
    "merged": gettext_lazy("two records became one: the recall of %(number)s stands for it"),
    "visit_taken_back": gettext_lazy("the visit was taken back"),
    "closing_taken_back": gettext_lazy("the closing of the one before was taken back"),
    "recorded_in_error": gettext_lazy("it was recorded in error"),
    "signature_taken_back": gettext_lazy("the signature was taken back"),
}


# What the program says of an appointment that no longer fits, and of a question to a dermatologist.
BECAUSE: Final[dict[str, Words]] = {
    "finished": gettext_lazy("Booked for %(booked)s: what it was booked for is done or closed."),
    "late": gettext_lazy("Booked for %(booked)s: the last day for the %(purpose)s is %(latest)s."),
    "not_asked_for": gettext_lazy("Booked for %(booked)s: the plan no longer asks for the %(purpose)s."),
    "care_ended": gettext_lazy("Booked for %(booked)s: care has ended: %(status)s."),
    "closed": gettext_lazy("Booked for %(booked)s: the clinic is closed on this day: %(reason)s."),
    "declined": gettext_lazy("%(purpose)s: declined."),
    "attempts_used_up": gettext_lazy("%(purpose)s: attempts used up."),
    "away": gettext_lazy("%(who)s is away on this day."),
    "no_hours": gettext_lazy("The session in which it was booked was removed."),
    "not_brought": gettext_lazy("%(purpose)s: the patient was not brought."),
    "missed_again": gettext_lazy("%(purpose)s: missed more than once."),
    "signs": gettext_lazy("Said about the skin: %(signs)s."),
    "told_in_error": gettext_lazy("The patient was told a result that was recorded in error: %(diagnosis)s."),
}


class Asked(Protocol):
    """A problem as the core answered it, or as it is laid beside others."""

    @property
    def code(self) -> str: ...
    @property
    def params(self) -> Any: ...


def interval_words(interval: str) -> str:
    """P6M: every 6 months"""
    return every_words(dates.parse(interval), SPOKEN)


def reason_words(reason: Reason | Mapping[str, Any]) -> str:
    """Say why something is due, as the core answered it or as it is stored: what it counts from, what is planned."""
    code, given = (reason.code, reason.params) if isinstance(reason, Reason) else _stored(reason)
    return messages.reason_text(code, given, SPOKEN)


def _stored(reason: Mapping[str, Any]) -> tuple[str, messages.Params]:
    return reason["code"], messages.params(**reason["params"])


def is_own_decision(reason: Reason | Mapping[str, Any]) -> bool:
    """Tell whether a dermatologist set it in place of the rules."""
    rule: str = reason.rule if isinstance(reason, Reason) else reason["rule"]
    return rule.startswith(OWN)


def source_words(reason: Reason | Mapping[str, Any], rules: RuleSet | None = None) -> str:
    """Say where it comes from: a publication, or the dermatologist who set it; `rules` is the set that asked for it."""
    if is_own_decision(reason):
        given = dict(reason.params) if isinstance(reason, Reason) else reason["params"]
        return _("clinician's decision: %(who)s") % {"who": given["by"]}
    key, source = (
        (reason.rule, reason.source) if isinstance(reason, Reason) else (reason["rule"], reason["source"])
    )
    rule = next((one for one in rules.rules if one.id == key), None) if rules else None
    return cited(rule, SPOKEN, language_code()) if rule else str(source)


def language_code() -> str:
    """Give the reader's language without its country: de for de-at."""
    return (get_language() or "").partition("-")[0]


def problem_words(problem: Asked) -> str:
    """Say what a person must answer; a row may hold several questions of one kind about one thing."""
    earlier = problem.also if isinstance(problem, PlanProblem) else []
    asked = [*earlier, dict(problem.params)]
    return " ".join(messages.problem_text(problem.code, messages.params(**one), SPOKEN) for one in asked)


def ended_words(recall: Recall) -> str:
    """Say what finished a recall, or why the plan dropped it."""
    return _said(ENDINGS, recall.ended_how)


def say_because(because: Mapping[str, Any]) -> str:
    """Say what the program knows of a duty of this app."""
    return capfirst(_said(BECAUSE, because))


_WRITTEN: Final[dict[str, Callable[[Any], Words]]] = {
    "latest": lambda day: write_day(date.fromisoformat(day)),
    "booked": lambda day: write_day(date.fromisoformat(day)),
    "status": lambda status: PatientStatus(status).label,
    "purpose": lambda purpose: Purpose(purpose).label,
    "diagnosis": lambda code: DiagnosisCode(code).label,
    "signs": lambda signs: ", ".join(str(Sign(sign).label) for sign in signs),
}


def _said(table: Mapping[str, Words], plain: Mapping[str, Any]) -> str:
    """Write a kept code with its parameters as a sentence."""
    given = {name: _WRITTEN[name](value) if name in _WRITTEN else value for name, value in plain.items()}
    return str(table[plain["code"]]) % given
