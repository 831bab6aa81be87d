"""What ran past its limit and when: by month of the limit, with what became of it; read from the rows that are kept.

A miss that was made good late stays here. The day from which something counts as late, and that a miss belongs to the
month of its limit: clinic setting, no source.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
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
from django.db.models.functions import Coalesce, TruncDate, TruncMonth
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
    """`number` limits that are past, of one day and alike in all that can be asked for."""

    month: date
    what: str
    clinician: str
    urgency: str
    how: str
    days: int
    number: int

    def is_of(self, asked: Asked) -> bool:
        """Say whether they are among the cohort that is asked for, late or not."""
        narrowed = ((self.month, asked.month), (self.what, asked.what), (self.urgency, asked.urgency))
        return all(
            not wanted or value == wanted for value, wanted in (*narrowed, (self.clinician, asked.clinician))
        )

    def counts_for(self, asked: Asked) -> bool:
        return (self.days > 0 or bool(asked.every)) and asked.how in ("", self.how)


def read(today: date) -> list[Fact]:
    """Read all limits that are past in one pass over each table: a page splits them in five ways."""
    found = []
    for rows in _both(Asked(every="1"), today):
        alike = rows.order_by().values_list("limit", "ended", "what", "clinician", "urgency", "how")
        for limit, ended, what, clinician, urgency, how, number in alike.annotate(Count("pk")):
            late = ((ended or today) - limit).days
            found.append(Fact(limit.replace(day=1), what, str(clinician), urgency, how, late, number))
    return found


def months(facts: Iterable[Fact]) -> list[date]:
    """List the months in which a limit was passed, the last first."""
    return sorted({fact.month for fact in facts if fact.days > 0}, reverse=True)


def by_month(facts: Iterable[Fact], asked: Asked, shown: Sequence[date]) -> list[tuple[date, Tally]]:
    """Count each of these months, as the other answers narrow them."""
    found = _tallies((fact for fact in facts if fact.month in shown), replace(asked, month=None), "month")
    return [(month, found[month]) for month in shown if month in found]


def split(facts: Iterable[Fact], asked: Asked, by: str) -> list[tuple[str, Tally]]:
    """Count what was asked for by `what`, `clinician` or `urgency`, the most first."""
    return sorted(_tallies(facts, asked, by).items(), key=lambda one: (-one[1].missed, one[0]))


def _tallies(facts: Iterable[Fact], asked: Asked, by: str) -> dict[Any, Tally]:
    days: dict[Any, Counter[int]] = defaultdict(Counter)
    became: dict[Any, Counter[str]] = defaultdict(Counter)
    fell: Counter[Any] = Counter()
    for fact in facts:
        if not fact.is_of(asked):
            continue
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
        month=TruncMonth("limit"),
        days=ExpressionWrapper(F("until") - F("limit"), output_field=DurationField()),
        # Whose patient it was when the limit passed: a later visit does not change the past.
        clinician=Coalesce(last_seen_by(until="limit"), Value(0), output_field=IntegerField()),
    )
    return found


def _narrow(rows: QuerySet[Any], asked: Asked) -> QuerySet[Any]:
    rows = rows.filter(**{name: value for name, value in vars(asked).items() if value and name != "every"})
    # Not by the number of days: SQLite asks Python for it, row by row.
    return rows if asked.every else rows.filter(until__gt=F("limit"))


def clinician_names(keys: Iterable[str | int]) -> dict[str, str]:
    """Name the clinicians by their keys as `split` gives them."""
    return {str(pk): name for pk, name in Member.objects.filter(pk__in=list(keys)).values_list("pk", "name")}
