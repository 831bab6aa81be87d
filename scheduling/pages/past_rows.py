"""Make the lines and rows of the page of what ran past its limit: each number with the address of exactly its rows."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import HttpRequest
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic.duties.kinds import KINDS
from clinic.models import Duty, Patient
from clinic.pages import duty_rows
from clinic.pages.paging import page_of_rows
from clinic.wording import Words, write_day, write_month
from scheduling.models import Recall
from scheduling.recalls import past_misses, wording
from scheduling.recalls.past_misses import HOW, NOBODY, URGENCIES, Asked, Tally


@dataclass(frozen=True)
class Line:
    """One line of a table: what it is about, its numbers, and the addresses of their rows."""

    words: Words
    tally: Tally
    here: str
    fell: str
    missed: str
    became: tuple[tuple[int, str], ...]
    is_name: bool = False


@dataclass(frozen=True)
class PastRow:
    """One recall or one duty that ran past its limit."""

    patient: Patient | None
    what: str
    page: str
    key: int
    urgency: Words
    clinician: str
    limit: date
    days: int
    became: str


def month_lines(asked: Asked, today: date, shown: Sequence[date]) -> list[Line]:
    tallies = past_misses.by_month(asked, today, shown)
    return [_line(write_month(month), tally, asked, month=month) for month, tally in tallies]


@dataclass(frozen=True)
class Split:
    """One page of what is asked for, split `by` something."""

    by: str
    title: Words
    page: Any
    lines: list[Line]


def parts(asked: Asked, today: date, request: HttpRequest) -> list[Split]:
    """Split what is asked by what it was for, by clinician and by urgency."""
    # Not under its own name: that narrows what is shown.
    found = past_misses.splits(asked, today)
    pages = {by: page_of_rows(found[by], request, f"by_{by}") for by in _TITLES}
    names = past_misses.clinician_names([key for key, _tally in pages["clinician"]])
    names[NOBODY] = _("seen by nobody yet")
    words: dict[str, dict[str, Words]] = {
        "what": past_misses.words_of_what(),
        "clinician": dict(names),
        "urgency": dict(URGENCIES),
    }
    return [
        Split(
            by,
            title,
            pages[by],
            [_line(words[by].get(key, key), tally, asked, **{by: key}) for key, tally in pages[by]],
        )
        for by, title in _TITLES.items()
    ]


_TITLES: Mapping[str, Words] = {
    "what": gettext_lazy("What for"),
    "clinician": gettext_lazy("Clinician who saw the patient last"),
    "urgency": gettext_lazy("Urgency"),
}


def _line(words: Words, tally: Tally, asked: Asked, **one: Any) -> Line:
    return Line(
        words,
        tally,
        asked.query(**one),
        asked.query(**one, how="", every="1"),
        asked.query(**one),
        tuple((tally.became.get(how, 0), asked.query(**one, how=how)) for how in HOW),
        is_name="clinician" in one and one["clinician"] != NOBODY,
    )


def past_rows(found: Iterable[dict[str, Any]]) -> list[PastRow]:
    """Fetch what a page of keys stands for, with as many questions for many rows as for one."""
    shown = list(found)
    recalls = _fetched(Recall, [row["pk"] for row in shown if row["is_recall"]])
    duties = _fetched(Duty, [row["pk"] for row in shown if not row["is_recall"]])
    places = wording.subjects(recalls.values())
    about = duty_rows.words_of(duty.subject for duty in duties.values())
    names = past_misses.clinician_names({row["clinician"] for row in shown})
    return [
        _recall_row(row, recalls[row["pk"]], places, names)
        if row["is_recall"]
        else _duty_row(row, duties[row["pk"]], about, names)
        for row in shown
    ]


def _fetched(model: type[Any], keys: list[int]) -> dict[int, Any]:
    return model.objects.select_related("patient").in_bulk(keys) if keys else {}


def _recall_row(
    row: dict[str, Any], recall: Recall, places: dict[str, str], names: dict[str, str]
) -> PastRow:
    what, became = wording.what_for(recall, places), _became(row, recall.get_ground_display())
    return PastRow(recall.patient, what, "scheduling:recall", became=became, **_shared(row, names))


def _duty_row(row: dict[str, Any], duty: Duty, about: dict[str, str], names: dict[str, str]) -> PastRow:
    kind, where = KINDS[duty.kind].words, about.get(duty.subject, "")
    what = _("%(kind)s: %(about)s") % {"kind": kind, "about": where} if where else str(kind)
    became = _became(row, duty.get_ground_display())
    return PastRow(duty.patient, capfirst(what), "clinic:duty", became=became, **_shared(row, names))


def _shared(row: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    return {
        "key": row["pk"],
        "urgency": URGENCIES[row["urgency"]],
        "clinician": names.get(str(row["clinician"]), ""),
        "limit": row["limit"],
        "days": max(0, row["days"].days),
    }


def _became(row: dict[str, Any], ground: str) -> str:
    if row["how"] == "open":
        return _("still open")
    said = {"day": write_day(row["ended"]), "ground": ground}
    if row["how"] == "good":
        return (_("made good on %(day)s") if row["days"].days > 0 else _("done in time, on %(day)s")) % said
    return _("ended on %(day)s: %(ground)s") % said


def in_words(asked: Asked) -> list[tuple[str, str]]:
    """Say by what the numbers are narrowed, each with the address of all the others."""
    said: dict[str, Words] = {
        "month": write_month(asked.month) if asked.month else "",
        "what": past_misses.words_of_what().get(asked.what, ""),
        "clinician": _clinician(asked.clinician),
        "urgency": URGENCIES.get(asked.urgency, ""),
        "how": HOW.get(asked.how, ""),
    }
    none: dict[str, Any] = {"month": None}
    return [(str(words), asked.query(**{name: none.get(name, "")})) for name, words in said.items() if words]


def _clinician(key: str) -> str:
    if key == NOBODY:
        return _("seen by nobody yet")
    return past_misses.clinician_names([key]).get(key, "") if key else ""
