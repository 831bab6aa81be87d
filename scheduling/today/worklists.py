"""Keep Today: one line a person, worked out anew with whatever changes, and in the morning for everybody."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet, Value

from clinic import clock
from clinic.models import Patient, insert_all
from scheduling.models import Appointment, DeskLine, Section, Touched
from scheduling.today import standing

_BATCH = 400
# As many lines are worked out while somebody waits for a page; the worker does the rest.
AT_ONCE = 200


def touch(recorded: Iterable[tuple[str, int | None]]) -> None:
    """Note in the transaction of what changed that these lines are to be worked out anew; a claim changes none."""
    about = ((action.partition(".")[0], key) for action, key in recorded)
    keys = dict.fromkeys(key for of, key in about if of != "work" and (key or of in _ABOUT_NOBODY))
    insert_all(Touched, [{"patient_id": key} for key in keys])


# What is owed for nobody on file is a duty, or a call.
_ABOUT_NOBODY = ("duty", "call")


def bring_up_to_date(most: int = AT_ONCE) -> None:
    """Work out the lines of whom something changed for, and of whose appointment has begun meanwhile."""
    touched = Touched.objects.order_by().values_list("pk", "patient_id")
    # 0 stands for no row of Touched, so that both can be asked in one question.
    of_begun = begun().order_by().annotate(nothing=Value(0)).values_list("nothing", "patient_id")
    found = list(touched.union(of_begun, all=True)[:most])
    if not found:
        return
    seen, since = [row for row in found if row[0]], [key for pk, key in found if not pk]
    with transaction.atomic():
        # A row that is written meanwhile is a row of its own, so deleting these loses no change.
        Touched.objects.filter(pk__in=[pk for pk, _key in seen]).delete()
        _write({key for _pk, key in seen if key is not None} | set(since))
        if any(key is None for _pk, key in seen):
            _write_nameless()


def begun() -> QuerySet[Appointment]:
    """Find the appointments that have begun since their patient's line was worked out."""
    shown = DeskLine.objects.filter(patient=OuterRef("patient"), section=Section.OUTCOME)
    merged = Patient.objects.filter(pk=OuterRef("patient"), merged_into__isnull=False)
    # Asked of each appointment: a join would let the database begin with everybody on file.
    rows = Appointment.objects.filter(state="booked", starts_at__lte=clock.now())
    return rows.filter(~Exists(shown), ~Exists(merged))


def next_to_begin() -> datetime | None:
    """Find when the next appointment begins: till then the clock alone changes nobody's line."""
    ahead = Appointment.objects.filter(state="booked", starts_at__gt=clock.now()).order_by("starts_at")
    return ahead.values_list("starts_at", flat=True).first()


@transaction.atomic
def build(day: date) -> int:
    """Work out the whole list; returns how many stand on it."""
    # First of all: what changes while the list is worked out is noted anew, and not lost.
    Touched.objects.all().delete()
    DeskLine.objects.all().delete()
    for batch in _batches(sorted(standing.owing(clock.now()))):
        _write(batch)
    _write_nameless()
    return DeskLine.objects.filter(day=day).count()


def _batches(keys: list[int]) -> Iterator[list[int]]:
    for start in range(0, len(keys), _BATCH):
        yield keys[start : start + _BATCH]


def _write(patient_ids: Iterable[int]) -> None:
    keys = list(patient_ids)
    lines = standing.lines_of(keys)
    stands = [line.patient_id for line in lines]
    DeskLine.objects.filter(patient__in=keys).exclude(patient__in=stands).delete()
    # Two who work out the same person at once write one row.
    DeskLine.objects.bulk_create(
        lines, batch_size=_BATCH, update_conflicts=True, unique_fields=["patient"], update_fields=_WORKED_OUT
    )


_WORKED_OUT = [
    field.name
    for field in DeskLine._meta.concrete_fields
    if not field.primary_key and field.name != "patient"
]


def _write_nameless() -> None:
    DeskLine.objects.filter(patient__isnull=True).delete()
    DeskLine.objects.bulk_create(standing.nameless_lines(), ignore_conflicts=True)


def catch_up(patient_ids: Iterable[int], day: date) -> None:
    """Work out the lines of patients whose plan was made anew."""
    for batch in _batches(list(patient_ids)):
        with transaction.atomic():
            Touched.objects.filter(patient__in=batch).delete()
            _write(batch)


def to_do() -> QuerySet[DeskLine]:
    """Find who stands on Today with something to be done today: the one number of Today."""
    return DeskLine.objects.exclude(section=Section.LATER)


def to_phone() -> QuerySet[DeskLine]:
    return DeskLine.objects.filter(section=Section.PHONE)
