"""Ask before a decision is signed: a note that contradicts it, an interval longer than what stands. Never refuse."""

import re
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib.resources import files
from typing import Any

from dateutil.relativedelta import relativedelta

from clinic import clock
from lesions.looking import foresight
from lesions.looking.foresight import Foreseen
from lesions.models import Decision, Lesion, Monitoring

_KEEP_WATCHING = (Decision.REASSURE, Decision.LOOK_AGAIN, Decision.INADEQUATE)
# Three months short-term, six to twelve long-term: ALT08, BJD08.
_LONGEST: dict[str, int] = {Monitoring.SHORT: 3, Monitoring.LONG: 12}


@dataclass(frozen=True)
class Question:
    """What is asked before a signature: a code and what its sentence names (lesions/review/wording.py)."""

    code: str
    params: Mapping[str, Any]


def ask(lesion: Lesion, decision: str, months: int | None, note: str) -> list[Question]:
    """Give the questions to whoever signs; usually none."""
    # Asked and never refused: the program knows some words and not what the writer knows.
    found = list(_of_the_note(decision, note))
    if decision == Decision.LOOK_AGAIN and months:
        found += _of_the_interval(lesion, months)
    return found


def _of_the_note(decision: str, note: str) -> Iterator[Question]:
    if decision in _KEEP_WATCHING and (words := contradicting(note)):
        yield Question("note_contradicts", {"words": words, "decision": decision})


def _of_the_interval(lesion: Lesion, months: int) -> Iterator[Question]:
    longest = _LONGEST.get(lesion.monitoring or "")
    if longest is not None and months > longest:
        said = {"longest": longest, "monitoring": lesion.monitoring, "months": months}
        yield Question("longer_than_monitoring", said)
    now, then = foresight.foresee(lesion, [None, (Decision.LOOK_AGAIN, months)])
    yield from _of_the_plan(now, then, clock.today() + relativedelta(months=months), months)


def _of_the_plan(now: Foreseen, then: Foreseen, asked: date, months: int) -> Iterator[Question]:
    # Asked of the planning core and not reckoned here: two reckonings would one day differ.
    if now.picture and then.picture and then.picture[1] > now.picture[1]:
        days = {"now": str(now.picture[1]), "then": str(then.picture[1])}
        yield Question("later_than_rules", days)
    if then.picture and then.picture[1] < asked:
        window = {"from": str(then.picture[0]), "to": str(then.picture[1])}
        yield Question("plan_asks_earlier", {"months": months, "day": str(asked), **window})


def contradicting(note: str) -> list[str]:
    """Find words of the note that speak against watching on, as they are written; a denied one does not count."""
    against, denials = _lists()
    words = re.findall(r"\w+", note)
    plain = [_plain(word) for word in words]
    return [
        written
        for number, (written, word) in enumerate(zip(words, plain, strict=True))
        if word.startswith(against) and (number == 0 or plain[number - 1] not in denials)
    ]


@lru_cache(maxsize=1)
def _lists() -> tuple[tuple[str, ...], frozenset[str]]:
    """Give the words of all languages at once: a clinic writes in more than one."""
    text = files("lesions.review").joinpath("contradictions.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    against = tuple(_plain(word) for row in read["against"].values() for word in row)
    return against, frozenset(_plain(word) for row in read["denied_by"].values() for word in row)


def _plain(word: str) -> str:
    """Write a word without case and accents, as people type in a hurry."""
    parts = unicodedata.normalize("NFKD", word.casefold())
    return "".join(part for part in parts if not unicodedata.combining(part))
