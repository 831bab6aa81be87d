"""Make the rows of pairs that may be one person: both records side by side, few questions for many pairs."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Max

from clinic import clock
from clinic.models import ContactRoute, LikelyPair, Patient, RouteKind, Visit


@dataclass(frozen=True)
class Side:
    """One of the two records, with what tells people apart."""

    patient: Patient
    phones: tuple[str, ...]
    last_visit: date | None


@dataclass(frozen=True)
class PairRow:
    pair: LikelyPair
    sides: tuple[Side, Side]
    late: bool


def pair_rows(pairs: Iterable[LikelyPair]) -> list[PairRow]:
    shown, today = list(pairs), clock.today()
    keys = {key for pair in shown for key in (pair.one_id, pair.other_id)}
    phones, visits = _phones(keys), _last_visits(keys)

    def side(patient: Patient) -> Side:
        return Side(patient, tuple(phones[patient.pk]), visits.get(patient.pk))

    return [PairRow(pair, (side(pair.one), side(pair.other)), pair.due_on < today) for pair in shown]


def _phones(keys: set[int]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = defaultdict(list)
    rows = ContactRoute.objects.filter(patient__in=keys, kind=RouteKind.PHONE).order_by("order", "pk")
    for patient, value in rows.values_list("patient", "value"):
        found[patient].append(value)
    return found


def _last_visits(keys: set[int]) -> dict[int, date]:
    rows = Visit.objects.filter(patient__in=keys, struck_at__isnull=True).order_by().values("patient")
    return dict(rows.annotate(last=Max("attended_on")).values_list("patient", "last"))
