"""Say in words what an audit record keeps as codes and values: each detail as what it is and what it says.

Codes are named by the app that writes them (`register_codes`); what somebody typed stays as it was typed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic.models import Purpose
from clinic.wording import Words, write_day

# What each detail is, where its own name would not tell a reader.
LABELS: Final[dict[str, Words]] = {
    "about": gettext_lazy("about"),
    "act": gettext_lazy("what"),
    "addendum": gettext_lazy("addendum"),
    "answer": gettext_lazy("answer"),
    "asked": gettext_lazy("asked before signing"),
    "at": gettext_lazy("when"),
    "attended_on": gettext_lazy("on"),
    "authority": gettext_lazy("may be told"),
    "before": gettext_lazy("before"),
    "camera_day": gettext_lazy("day by the camera"),
    "changed": gettext_lazy("changed"),
    "changes": gettext_lazy("changes"),
    "clinician": gettext_lazy("clinician"),
    "code": gettext_lazy("which"),
    "confirmed": gettext_lazy("confirmed"),
    "counts": gettext_lazy("counts as an attempt"),
    "date": gettext_lazy("day"),
    "day": gettext_lazy("day"),
    "days_unread": gettext_lazy("days on which nobody reads"),
    "decision": gettext_lazy("decision"),
    "done": gettext_lazy("done"),
    "due": gettext_lazy("due"),
    "due_on": gettext_lazy("to be done by"),
    "evidence": gettext_lazy("shown by"),
    "facts": gettext_lazy("version of the facts"),
    "fewer": gettext_lazy("fewer visits"),
    "filename": gettext_lazy("file"),
    "flags": gettext_lazy("why it waits"),
    "given": gettext_lazy("agrees"),
    "gone": gettext_lazy("merged record"),
    "ground": gettext_lazy("ground"),
    "holds": gettext_lazy("adds up"),
    "hours": gettext_lazy("hours"),
    "how": gettext_lazy("how"),
    "in_person": gettext_lazy("in person"),
    "interval": gettext_lazy("interval"),
    "into": gettext_lazy("merged into"),
    "is": gettext_lazy("is now"),
    "kind": gettext_lazy("kind"),
    "label": gettext_lazy("number"),
    "laboratory": gettext_lazy("laboratory"),
    "last_day": gettext_lazy("last day"),
    "latest": gettext_lazy("last day"),
    "later_by": gettext_lazy("days later"),
    "left": gettext_lazy("left to do"),
    "longer": gettext_lazy("later than before"),
    "member": gettext_lazy("member of staff"),
    "minutes": gettext_lazy("minutes"),
    "months": gettext_lazy("months"),
    "moved": gettext_lazy("changed"),
    "next_look_on": gettext_lazy("looked at again on"),
    "not_brought": gettext_lazy("was not brought"),
    "note": gettext_lazy("note"),
    "number": gettext_lazy("number"),
    "of": gettext_lazy("series"),
    "on": gettext_lazy("on"),
    "opened": gettext_lazy("opened"),
    "other": gettext_lazy("the other record"),
    "outcome": gettext_lazy("outcome"),
    "picture": gettext_lazy("picture"),
    "place": gettext_lazy("where"),
    "problems": gettext_lazy("problems"),
    "purpose": gettext_lazy("what for"),
    "reader": gettext_lazy("who reads"),
    "reason": gettext_lazy("reason"),
    "records": gettext_lazy("records"),
    "reference": gettext_lazy("reference"),
    "removed": gettext_lazy("removed"),
    "replaces": gettext_lazy("replaces"),
    "reported_on": gettext_lazy("reported on"),
    "resource": gettext_lazy("room"),
    "role": gettext_lazy("role"),
    "route": gettext_lazy("way"),
    "rows": gettext_lazy("rows"),
    "rule": gettext_lazy("rule"),
    "rules": gettext_lazy("version of the rules"),
    "said_on": gettext_lazy("said on"),
    "score": gettext_lazy("sum"),
    "second": gettext_lazy("second member of staff"),
    "sha256": gettext_lazy("checksum"),
    "side": gettext_lazy("side"),
    "sign": gettext_lazy("sign"),
    "signs": gettext_lazy("signs"),
    "site": gettext_lazy("site"),
    "status": gettext_lazy("status"),
    "sutures": gettext_lazy("sutures"),
    "target_after": gettext_lazy("best day now"),
    "target_before": gettext_lazy("best day before"),
    "tier": gettext_lazy("tier"),
    "tiers": gettext_lazy("version of the criteria"),
    "told_to": gettext_lazy("told"),
    "until": gettext_lazy("until"),
    "urgency": gettext_lazy("urgency"),
    "urgent": gettext_lazy("urgent"),
    "version": gettext_lazy("version"),
    "visit": gettext_lazy("visit"),
    "was": gettext_lazy("was"),
    "what": gettext_lazy("what"),
    "whom": gettext_lazy("whom"),
    "whose": gettext_lazy("by whom"),
    "why": gettext_lazy("why"),
    "window": gettext_lazy("earliest, best and last day"),
    "word": gettext_lazy("word"),
    "words": gettext_lazy("in words"),
}
# What a code means, by the name of the detail: filled by the apps when the program starts.
CODES: dict[str, dict[str, Words]] = {"purpose": dict(Purpose.choices), "what": dict(Purpose.choices)}

_CHECKSUM: Final = 12


@dataclass(frozen=True)
class Detail:
    """`own`: the value is somebody's own text, a name or a number, in nobody's English."""

    label: Words
    words: str
    own: bool


def register_codes(codes: Mapping[str, Mapping[str, Words]]) -> None:
    """Add what the codes of an app mean; one detail, such as `kind`, may hold codes of several apps."""
    for name, words in codes.items():
        CODES.setdefault(name, {}).update(words)


def say(details: Mapping[str, Any]) -> list[Detail]:
    """Say the details of one record; what is empty says nothing."""
    return [
        Detail(_label(name), words, _is_own(value, words))
        for name, value in details.items()
        if (words := value_words(name, value))
    ]


def _is_own(value: Any, words: str) -> bool:
    """Say whether it stands as it was written, in whole or cut short: no catalogue has a word for it."""
    if isinstance(value, list) and all(isinstance(each, str) for each in value):
        return words == ", ".join(value)
    return isinstance(value, str) and value.startswith(words)


def _label(name: str) -> Words:
    return LABELS.get(name) or name.replace("_", " ")


def value_words(name: str, value: Any) -> str:
    """Say one value: a code by its name, a day as a day, and many of them as a list of words."""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, Mapping):
        return ", ".join(
            f"{_label(key)}: {words}" for key, each in value.items() if (words := value_words(key, each))
        )
    if isinstance(value, list):
        return ", ".join(words for words in _each(name, value) if words)
    # Nobody reads a checksum; its beginning is enough to compare two.
    return "" if value is None else _text(name, str(value))[: _CHECKSUM if name == "sha256" else None]


def _each(name: str, values: Iterable[Any]) -> Iterable[str]:
    for value in values:
        yield _item(*value) if _is_item(value) else value_words(name, value)


def _is_item(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and value[0] in Purpose.values


def _item(purpose: str, subject: str = "patient", *more: Any) -> str:
    about = [str(each) for each in (subject, *more) if each not in ("", "patient")]
    return f"{Purpose(purpose).label} ({', '.join(about)})" if about else str(Purpose(purpose).label)


def _text(name: str, text: str) -> str:
    if known := CODES.get(name, {}).get(text):
        return str(known)
    first, _space, subject = text.partition(" ")
    if first in Purpose.values:
        return _item(first, subject or "patient")
    return _day(text) or text


def _day(text: str) -> str:
    """Write 2026-03-06, or a moment of that day, as people read it."""
    if len(text) < 10 or text[4:5] != "-":
        return ""
    try:
        return write_day(date.fromisoformat(text))
    except ValueError:
        pass
    try:
        moment = timezone.localtime(datetime.fromisoformat(text))
    except ValueError:
        return ""
    return f"{write_day(moment.date())}, {moment:%H:%M}"
