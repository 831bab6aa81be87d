"""What ran past its limit and when: by month of the limit, with what became of it; read from the rows that are kept.

A miss that was made good late stays here. The day from which something counts as late, and that a miss belongs to the
month of its limit: clinic setting, no source.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any, Final, NamedTuple

from django.db.models import (
    Case,
    CharField,
    Count,
    DateField,
    DurationField,
    ExpressionWrapper,
    F,
    IntegerField,
    Q,
    QuerySet,
    Value,
    When,
)
from django.db.models.functions import Cast, Coalesce, Substr, TruncDate
from django.utils.translation import gettext_lazy

from clinic.duties.kinds import KINDS
from clinic.models import Duty, Member, PatientStatus, Purpose
from clinic.wording import Words
from scheduling.models import Ground, Recall, RecallState, Urgency
from scheduling.recalls.clinicians import last_seen_by

# What became of a miss.
HOW: Final[Mapping[str, Words]] = {
    "open": gettext_lazy("still open"),
    "good": gettext_lazy("made good late"),
    "ended": gettext_lazy("ended otherwise"),
}
# A duty has no ladder: it is urgent, as a recall of urgency A is, or not.
NOT_URGENT: Final = "-"
URGENCIES: Final[Mapping[str, Words]] = {
    **dict(Urgency.choices),
    NOT_URGENT: gettext_lazy("a duty that is not urgent"),
}
NOBODY: Final = "0"  # among the clinicians: who had been seen by none


@dataclass(frozen=True)
class Asked:
    """Which misses are meant; empty means all. `month` is its first day, `clinician` a key or NOBODY.

    `every`: also what was done in time, so that a number of misses can be held against its whole cohort.
    """

    month: date | None = None
    what: str = ""
    clinician: str = ""
    urgency: str = ""
    how: str = ""
    every: str = ""

    @classmethod
    def of(cls, given: Mapping[str, str]) -> "Asked":
        """Read an address; what nobody offers narrows nothing."""
        known: dict[str, Mapping[str, Words]] = {
            "what": words_of_what(),
            "urgency": URGENCIES,
            "how": HOW,
            "every": {"1": ""},
        }
        kept = {name: given.get(name, "") for name in known if given.get(name, "") in known[name]}
        clinician = given.get("clinician", "")
        return cls(
            _month(given.get("month", "")), clinician=clinician if clinician.isdecimal() else "", **kept
        )

    def query(self, **more: Any) -> str:
        """Give the address of exactly these rows, narrowed further."""
        asked = replace(self, **more)
        fields = vars(asked) | {"month": f"{asked.month:%Y-%m}" if asked.month else ""}
        return "&".join(f"{name}={value}" for name, value in fields.items() if value)


@dataclass(frozen=True)
class Tally:
    """How many ran past their limit, how late, and what became of them; of `fell`, all limits of the same cohort."""

    fell: int
    missed: int
    median: float
    longest: int
    became: Mapping[str, int]


def words_of_what() -> dict[str, Words]:
    """Name every purpose of a recall and every kind of duty."""
    return {**dict(Purpose.choices), **{code: kind.words for code, kind in KINDS.items()}}


def _month(written: str) -> date | None:
    try:
        return date.fromisoformat(f"{written}-01")
    except ValueError:
        return None


class Fact(NamedTuple):
    """`number` limits that are past, and alike in all that can be asked for; `days` late, 0 where it was in time."""

    month: date
    what: str
    clinician: str
    urgency: str
    how: str
    days: int
    number: int

    def counts_for(self, asked: Asked) -> bool:
        return (self.days > 0 or bool(asked.every)) and asked.how in ("", self.how)


def months(today: date) -> list[date]:
    """List the months in which a limit was passed, the last first."""
    found = {
        written
        for rows in _both(Asked(), today)
        for written in rows.order_by().values_list(_MONTH, flat=True).distinct()
    }
    return sorted((date.fromisoformat(f"{written}-01") for written in found), reverse=True)


def by_month(asked: Asked, today: date, shown: Sequence[date]) -> list[tuple[date, Tally]]:
    """Count each of these months, as the other answers narrow them."""
    if not shown:
        return []
    of_shown = Q(limit__gte=min(shown), limit__lt=_next(max(shown)))
    # Whose a patient was is looked up for each row: not where nobody asks.
    facts = _read(replace(asked, month=None), today, only=of_shown, clinician=Value(0))
    found = _tallies(facts, asked, "month")
    return [(month, found[month]) for month in shown if month in found]


def splits(asked: Asked, today: date) -> dict[str, list[tuple[str, Tally]]]:
    """Count what was asked for by `what`, `clinician` and `urgency`, the most first; read once for all of them."""
    facts = list(_read(asked, today, only=Q(), clinician=F("clinician")))
    return {
        by: sorted(_tallies(facts, asked, by).items(), key=lambda one: (-one[1].missed, one[0]))
        for by in ("what", "clinician", "urgency")
    }


# As it stands in the database: SQLite asks Python for the month of a day, row by row.
_MONTH = Substr(Cast("limit", CharField()), 1, 7)
_IS_LATE = Q(until__gt=F("limit"))


def _read(asked: Asked, today: date, only: Q, clinician: Any) -> Iterator[Fact]:
    """Read the whole cohort of what is asked for; what was in time differs by no day."""
    late = {
        "from_day": Case(When(_IS_LATE, then=F("limit")), output_field=DateField()),
        "to_day": Case(When(_IS_LATE, then=F("until")), output_field=DateField()),
    }
    for rows in _both(replace(asked, how="", every="1"), today):
        alike = rows.filter(only).order_by().annotate(month=_MONTH, whose=clinician, **late)
        alike = alike.values_list("month", "what", "whose", "urgency", "how", *late).annotate(Count("pk"))
        for month, what, whose, urgency, how, start, end, number in alike:
            days = (end - start).days if start else 0
            yield Fact(date.fromisoformat(f"{month}-01"), what, str(whose), urgency, how, days, number)


def _next(month: date) -> date:
    return (month + timedelta(days=31)).replace(day=1)


def _tallies(facts: Iterable[Fact], asked: Asked, by: str) -> dict[Any, Tally]:
    days: dict[Any, Counter[int]] = defaultdict(Counter)
    became: dict[Any, Counter[str]] = defaultdict(Counter)
    fell: Counter[Any] = Counter()
    for fact in facts:
        key = getattr(fact, by)
        fell[key] += fact.number
        if fact.counts_for(asked):
            days[key][fact.days] += fact.number
            became[key][fact.how] += fact.number
    return {
        key: Tally(fell[key], sum(late.values()), _median(late), max(late), became[key])
        for key, late in days.items()
    }


def _median(late: Counter[int]) -> float:
    """Find the middle of all, or the mean of the two in the middle."""
    total, passed, middle = sum(late.values()), 0, []
    for days, number in sorted(late.items()):
        # Places are counted from 0: an even number of them has two in the middle.
        middle += [days for place in ((total - 1) // 2, total // 2) if passed <= place < passed + number]
        passed += number
    return sum(middle) / 2


def rows_of(asked: Asked, today: date) -> "QuerySet[Any, dict[str, Any]]":
    """List exactly the rows of a number, the longest late first: keys of recalls and of duties in one order."""
    recalls, duties = (
        rows.annotate(is_recall=Value(one)).values(
            "pk", "is_recall", "days", "how", "ended", "limit", "what", "urgency", "clinician"
        )
        for rows, one in zip(_both(asked, today), (1, 0), strict=True)
    )
    both: QuerySet[Any, dict[str, Any]] = recalls.order_by().union(duties.order_by(), all=True)
    return both.order_by("-days", "-is_recall", "pk")


def count_of(asked: Asked, today: date) -> int:
    """Count the rows without the columns that only those of one page need."""
    return sum(rows.count() for rows in _both(asked, today))


def _both(asked: Asked, today: date) -> tuple[QuerySet[Any], QuerySet[Any]]:
    return _narrow(_recalls(today), asked), _narrow(_duties(today), asked)


def _recalls(today: date) -> QuerySet[Any]:
    """Give the recalls whose last day is past. Of two records that were merged one recall stands for both."""
    counted = Q(ended_on__isnull=False) | Q(patient__status=PatientStatus.ACTIVE, patient__merged_into=None)
    # A key that a row lacks is neither equal nor unequal.
    replaced = Q(ended_how__code__isnull=False) & Q(ended_how__code="merged")
    rows = Recall.objects.filter(counted, latest__lt=today).exclude(ground=Ground.ERROR).exclude(replaced)
    how = Case(
        When(ended_on=None, then=Value("open")),
        When(state=RecallState.COMPLETED, then=Value("good")),
        default=Value("ended"),
        output_field=CharField(),
    )
    return _columns(rows, today, how=how, limit=F("latest"), ended=F("ended_on"), what=F("purpose"))


def _duties(today: date) -> QuerySet[Any]:
    rows = Duty.objects.filter(due_on__lt=today).exclude(ground=Ground.ERROR)
    how = Case(
        When(ended_at=None, then=Value("open")),
        When(ground="", then=Value("good")),
        default=Value("ended"),
        output_field=CharField(),
    )
    urgency = Case(When(urgent=True, then=Value("A")), default=Value(NOT_URGENT), output_field=CharField())
    ended = TruncDate("ended_at")
    rows = rows.annotate(urgency=urgency)
    return _columns(rows, today, how=how, limit=F("due_on"), ended=ended, what=F("kind"))


def _columns(rows: QuerySet[Any], today: date, **columns: Any) -> QuerySet[Any]:
    until = Coalesce(F("ended"), Value(today), output_field=DateField())
    found: QuerySet[Any] = rows.annotate(**columns, until=until).annotate(
        days=ExpressionWrapper(F("until") - F("limit"), output_field=DurationField()),
        # Whose patient it was when the limit passed: a later visit does not change the past.
        clinician=Coalesce(last_seen_by(until="limit"), Value(0), output_field=IntegerField()),
    )
    return found


def _narrow(rows: QuerySet[Any], asked: Asked) -> QuerySet[Any]:
    narrowed = ("what", "clinician", "urgency", "how")
    rows = rows.filter(**{name: value for name, value in vars(asked).items() if value and name in narrowed})
    if asked.month:
        rows = rows.filter(limit__gte=asked.month, limit__lt=_next(asked.month))
    return rows if asked.every else rows.filter(_IS_LATE)


def clinician_names(keys: Iterable[str | int]) -> dict[str, str]:
    """Name the clinicians by their keys as `split` gives them."""
    return {str(pk): name for pk, name in Member.objects.filter(pk__in=list(keys)).values_list("pk", "name")}
