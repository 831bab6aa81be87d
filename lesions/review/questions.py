"""Ask before a decision is signed: a note that contradicts it, an interval longer than what stands. Never refuse."""

import re
import tomllib
import unicodedata
from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from importlib.resources import files

from dateutil.relativedelta import relativedelta

from clinic import clock
from clinic.wording import write_day
from lesions.looking import foresight
from lesions.looking.foresight import Foreseen
from lesions.models import Decision, Lesion, Monitoring

_KEEP_WATCHING = (Decision.REASSURE, Decision.LOOK_AGAIN, Decision.INADEQUATE)
# Three months short-term, six to twelve long-term: ALT08, BJD08.
_LONGEST: dict[str, int] = {Monitoring.SHORT: 3, Monitoring.LONG: 12}


def ask(lesion: Lesion, decision: str, months: int | None, note: str) -> list[str]:
    """Give the questions to whoever signs, as sentences; usually none."""
    found = list(_of_the_note(decision, note))
    if decision == Decision.LOOK_AGAIN and months:
        found += _of_the_interval(lesion, months)
    return found


def _of_the_note(decision: str, note: str) -> Iterator[str]:
    if decision in _KEEP_WATCHING and (words := contradicting(note)):
        said = ", ".join(f"“{word}”" for word in words)
        yield f"The note says {said}, and the decision is “{Decision(decision).label}”. Are both meant?"


def _of_the_interval(lesion: Lesion, months: int) -> Iterator[str]:
    longest = _LONGEST.get(lesion.monitoring or "")
    if longest is not None and months > longest:
        yield (
            f"The lesion is watched with pictures at most {longest} months apart ({lesion.monitoring}), "
            f"and the decision says {months}."
        )
    now, then = foresight.foresee(lesion, [None, (Decision.LOOK_AGAIN, months)])
    yield from _of_the_plan(now, then, clock.today() + relativedelta(months=months), months)


def _of_the_plan(now: Foreseen, then: Foreseen, asked: date, months: int) -> Iterator[str]:
    if now.picture and then.picture and then.picture[1] > now.picture[1]:
        yield (
            f"The rules ask for the next picture by {write_day(now.picture[1])}; "
            f"signed like this it would be by {write_day(then.picture[1])}."
        )
    if then.picture and then.picture[1] < asked:
        yield (
            f"You write {months} months, that is {write_day(asked)}; the plan will ask earlier, "
            f"between {write_day(then.picture[0])} and {write_day(then.picture[1])}."
        )


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
