"""Say what a new plan changes for one patient; a plan can be tried and taken back."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.db import transaction

from clinic.wording import write_day
from scheduling.models import OPEN, PlanProblem, Recall, RecallState
from scheduling.planning import replan
from scheduling.planning.wording import ended_words, problem_words


class _TakenBack(Exception):
    """Raised to undo a plan that was only tried: everything it wrote goes with the transaction."""


@dataclass(frozen=True)
class Difference:
    """One change for one patient; `kind` is what the summary counts: due added, due moved, problem gone ..."""

    kind: str
    text: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"


@dataclass(frozen=True)
class _OpenRows:
    """The open recalls and problems of one patient by their keys."""

    recalls: dict[int, Recall]
    problems: dict[int, PlanProblem]


def replan_and_compare(keys: Sequence[int], *, keep: bool) -> dict[int, list[Difference] | None]:
    """Make plans anew and say what changed for each; None for whom no plan could be made.

    With `keep` false the same writes are made and taken back, so that what is said is what will happen.
    """
    found: dict[int, list[Difference] | None] = dict.fromkeys(keys)
    try:
        with transaction.atomic():
            before = _open_rows(keys)
            done = replan.replan_many(keys)
            after = _open_rows(keys)
            ended = _ended(before, after)
            for key in done:
                recalls = _of_recalls(before[key], after[key], ended)
                found[key] = [*recalls, *_of_problems(before[key], after[key])]
            # Tried with the very writes: a second, gentler calculation would one day say something else than happens.
            if not keep:
                raise _TakenBack
    except _TakenBack:
        return found
    return found


def _open_rows(keys: Sequence[int]) -> dict[int, _OpenRows]:
    rows = {key: _OpenRows({}, {}) for key in keys}
    for recall in Recall.objects.filter(patient__in=keys, state__in=OPEN).order_by("pk"):
        rows[recall.patient_id].recalls[recall.pk] = recall
    for problem in PlanProblem.objects.filter(patient__in=keys, gone_on__isnull=True).order_by("pk"):
        rows[problem.patient_id].problems[problem.pk] = problem
    return rows


def _ended(before: dict[int, _OpenRows], after: dict[int, _OpenRows]) -> dict[int, Recall]:
    return Recall.objects.in_bulk(
        [pk for key in before for pk in before[key].recalls.keys() - after[key].recalls.keys()]
    )


def _of_recalls(was: _OpenRows, now: _OpenRows, ended: dict[int, Recall]) -> Iterator[Difference]:
    """Compare the open recalls; a duty that another number or rule replaces has moved, though it is another row."""
    before, after = was.recalls, now.recalls
    opened = {(row.purpose, row.subject): row for key, row in after.items() if key not in before}
    for key, old in before.items():
        if key not in ended:
            yield from _kept(old, after[key])
        elif ended[key].state == RecallState.COMPLETED:
            yield Difference("due done", f"{_what(old)}, {_window(old)}; {ended_words(ended[key])}")
        elif replacement := opened.pop((old.purpose, old.subject), None):
            yield Difference("due moved", _moved(old, replacement))
        else:
            yield Difference("due dropped", f"{_what(old)}, {_window(old)}; {ended_words(ended[key])}")
    for row in opened.values():
        yield Difference("due added", f"{_what(row)}, {_window(row)}, rule {row.rule}")


def _kept(old: Recall, new: Recall) -> Iterator[Difference]:
    if _dates(old) != _dates(new):
        yield Difference("due moved", _moved(old, new))
    elif old.state != new.state:
        yield Difference("due state", f"{_what(old)}: {old.state} becomes {new.state}")


def _moved(old: Recall, new: Recall) -> str:
    rule = "" if old.rule == new.rule else f", rule {old.rule} becomes {new.rule}"
    number = "" if old.number == new.number else f" becomes number {new.number}"
    urgency = "" if old.urgency == new.urgency else f", urgency {old.urgency} becomes {new.urgency}"
    return f"{_what(old)}{number}, {_window(old)} becomes {_window(new)}{rule}{urgency}"


def _dates(row: Recall) -> tuple[object, ...]:
    return row.rule, row.anchor, row.number, row.earliest, row.target, row.latest, row.urgency


def _what(row: Recall) -> str:
    about = "" if row.subject == "patient" else f" ({row.subject.replace(':', ' ')})"
    return f"{row.get_purpose_display()}{about}, number {row.number}"


def _window(row: Recall) -> str:
    return f"{write_day(row.earliest)} to {write_day(row.latest)}, target {write_day(row.target)}"


def _of_problems(was: _OpenRows, now: _OpenRows) -> Iterator[Difference]:
    before, after = was.problems, now.problems
    for key, old in before.items():
        if key not in after:
            yield Difference("problem gone", _asked(old))
        elif (after[key].params, after[key].also) != (old.params, old.also):
            yield Difference("problem changed", _asked(after[key]))
    for key in sorted(after.keys() - before.keys()):
        yield Difference("problem new", _asked(after[key]))


def _asked(row: PlanProblem) -> str:
    return f"{row.code} of {row.subject}: {problem_words(row)}"
