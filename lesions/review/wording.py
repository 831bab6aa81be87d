"""Say why a lesion waits for a dermatologist: in the clinic's own sentences of its limits, and the program's."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from clinic.wording import SPOKEN, write_day
from lesions.analysis import wording as core
from lesions.analysis.types import Message, Quality
from lesions.limits import wording as limits
from lesions.limits.flags import FlagDraft
from lesions.models import Decision, Flag, Monitoring, SignOff
from lesions.pictures import wording as pictures
from lesions.review.questions import Question

UNDECIDED: Final = {
    "earlier_picture": gettext_noop("Seen on an earlier picture and not decided yet."),
    "measured_before": gettext_noop("Seen when this picture was measured before and not decided yet."),
}


@dataclass(frozen=True)
class FlagWords:
    """A flag as a page shows it: `own` is the sentence of the clinic's limits, its data; `said` is the program's."""

    flag: Flag | FlagDraft
    own: str
    said: str

    @property
    def unit(self) -> str:
        return limits.unit_words(self.flag.unit)

    @property
    def value(self) -> float | None:
        return self.flag.value

    @property
    def uncertainty(self) -> float | None:
        return self.flag.uncertainty

    @property
    def limit(self) -> float | None:
        return self.flag.limit

    @property
    def source(self) -> str:
        return self.flag.source

    def __str__(self) -> str:
        return f"{self.own} {self.said}".strip()


def flag_words(flag: Flag | FlagDraft) -> FlagWords:
    """Write why this flag was raised."""
    given = flag.params
    # The clinic's own limits bring their own sentence; only the program's flags have words here.
    said = list(_limit(given) if "sentence" in given else _BY_CODE[flag.code](given))
    if "compared_with" in given:
        day = write_day(date.fromisoformat(given["compared_with"]))
        said.append(_("Compared with %(day)s.") % {"day": day})
    if "undecided" in given:
        said.append(_(UNDECIDED[given["undecided"]]))
    return FlagWords(flag, given.get("sentence", ""), " ".join(said))


def doubts_of(result: dict[str, Any] | None) -> list[str]:
    """Write what is in doubt about the outline of a measured picture."""
    return [core.doubt(Message(**row), SPOKEN) for row in (result or {}).get("doubt", [])]


def shortcomings_of(result: dict[str, Any] | None) -> list[str]:
    """Write in what a photograph falls short, and what staff can do."""
    rows = [Quality(**row) for row in (result or {}).get("quality", [])]
    return [core.quality(row, SPOKEN) for row in rows if not row.ok]


def _limit(given: dict[str, Any]) -> Iterator[str]:
    if "new" in given:
        yield _("Above the limit now: %(names)s.") % {"names": _names(given["new"])}


def _doubtful(given: dict[str, Any]) -> Iterator[str]:
    if given.get("of_earlier"):
        yield _("Check the outline of the earlier picture: no change is held against a limit.")
        return
    yield _("Check the outline.")
    yield from _filled(given["doubts"])
    if given.get("of_comparison"):
        yield _("Until then its change of size is not sure.")
        return
    yield _("Its measures are held against no limit until then.")


def _inadequate(given: dict[str, Any]) -> Iterator[str]:
    yield _("The photograph falls short.")
    yield from (core.quality(Quality(**row), SPOKEN) for row in given["quality"])


def _unaligned(given: dict[str, Any]) -> Iterator[str]:
    yield _("The two pictures could not be laid on each other.")
    yield from _filled(given["reasons"])


def _unmeasured(given: dict[str, Any]) -> Iterator[str]:
    if "failure" in given:
        yield _("The picture could not be measured.")
        yield pictures.sentence(Message(**given["failure"]))
        return
    if given["values"]:
        yield _("Not measured: %(names)s.") % {"names": _names(given["values"])}
    if given["changes"]:
        yield _("No change could be told of: %(names)s.") % {"names": _names(given["changes"])}


def _second_reading(given: dict[str, Any]) -> Iterator[str]:
    yield _("%(name)s asks for a second reading.") % {"name": given["by"]}


def _dissent(given: dict[str, Any]) -> Iterator[str]:
    yield _("%(name)s dissents from a signed decision: a third reading is asked for.") % {"name": given["by"]}


def _filled(rows: list[dict[str, Any]]) -> Iterator[str]:
    return (core.fill(Message(**row), SPOKEN) for row in rows)


def _names(measures: list[str]) -> str:
    """Name the measures, each once, whether in millimetres or in pixels."""
    return ", ".join(dict.fromkeys(core.name(each, SPOKEN) for each in measures))


_Said = Callable[[dict[str, Any]], Iterator[str]]
_BY_CODE: Final[dict[str, _Said]] = {
    "doubtful": _doubtful,
    "inadequate": _inadequate,
    "unaligned": _unaligned,
    "unmeasured": _unmeasured,
    "second_reading": _second_reading,
    "dissent": _dissent,
    "nothing_to_compare": lambda _given: iter([_("There is no earlier picture to compare with.")]),
    "no_limits": lambda _given: iter([_("No limits are in force, so every picture is looked at.")]),
}


BECAUSE: Final = {
    "looked_otherwise": gettext_noop(
        "The report says benign; the lesion was flagged or had an urgent sign before."
    ),
}


def say_because(because: Mapping[str, Any]) -> str:
    """Write what the program knows of a duty of this app."""
    return _(BECAUSE[because["code"]])


def decided(signed: SignOff) -> str:
    """Write what was signed, with its months."""
    words = signed.get_decision_display()
    if signed.months is None:
        return words
    months = ngettext("(%(n)s month)", "(%(n)s months)", signed.months) % {"n": signed.months}
    return f"{words} {months}"


# ---- what is asked before a signature ------------------------------------------------------------

_QUESTIONS: Final = {
    "note_contradicts": gettext_noop(
        "The note says %(words)s, and the decision is “%(decision)s”. Are both meant?"
    ),
    "longer_than_monitoring": gettext_noop(
        "The lesion is watched with pictures at most %(longest)s months apart (%(monitoring)s), "
        "and the decision says %(months)s."
    ),
    "later_than_rules": gettext_noop(
        "The rules ask for the next picture by %(now)s; signed like this it would be by %(then)s."
    ),
    "plan_asks_earlier": gettext_noop(
        "You write %(months)s months, that is %(day)s; the plan will ask earlier, between %(from)s and %(to)s."
    ),
}
_DAYS: Final = ("now", "then", "day", "from", "to")


def question(asked: Question) -> str:
    """Write what is asked before a signature."""
    said = dict(asked.params)
    said |= {name: write_day(date.fromisoformat(said[name])) for name in _DAYS if name in said}
    if "words" in said:
        said["words"] = ", ".join(f"“{word}”" for word in said["words"])
        said["decision"] = Decision(said["decision"]).label
    if "monitoring" in said:
        said["monitoring"] = Monitoring(said["monitoring"]).label
    return _(_QUESTIONS[asked.code]) % said
