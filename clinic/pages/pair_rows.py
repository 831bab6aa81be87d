"""Make the rows of pairs that may be one person: both records side by side, few questions for many pairs."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Max
from django.http import HttpRequest

from clinic import clock
from clinic.duties import proposals
from clinic.models import ContactRoute, LikelyPair, Patient, PhotoConsent, RouteKind, Visit
from clinic.pages.duty_rows import ProposalRow, proposal_rows
from clinic.people import consent
from clinic.trail.audit import subject_of


@dataclass(frozen=True)
class Side:
    """One of the two records, with what tells people apart."""

    patient: Patient
    phones: tuple[str, ...]
    last_visit: date | None
    photographs: PhotoConsent | None


@dataclass(frozen=True)
class PairRow:
    pair: LikelyPair
    sides: tuple[Side, Side]
    late: bool
    answers_differ: bool
    asked: ProposalRow | None
    # What else is proposed about one of the two: it is answered before a merge can be proposed.
    first: list[ProposalRow]


def pair_rows(pairs: Iterable[LikelyPair], request: HttpRequest) -> list[PairRow]:
    shown, today = list(pairs), clock.today()
    keys = {key for pair in shown for key in (pair.one_id, pair.other_id)}
    phones, visits, said = _phones(keys), _last_visits(keys), consent.current_of(keys)
    waiting = proposal_rows(proposals.about(*shown) | proposals.waiting().filter(patient__in=keys), request)
    asked = {row.proposal.subject: row for row in waiting}

    def side(patient: Patient) -> Side:
        return Side(patient, tuple(phones[patient.pk]), visits.get(patient.pk), said.get(patient.pk))

    def row(pair: LikelyPair) -> PairRow:
        differ = consent.differ(said.get(pair.one_id), said.get(pair.other_id))
        sides = (side(pair.one), side(pair.other))
        mine, both = asked.get(subject_of(pair)), (pair.one_id, pair.other_id)
        first = [row for row in waiting if row.proposal.patient_id in both and row != mine]
        return PairRow(pair, sides, pair.due_on < today, differ, mine, first)

    return [row(pair) for pair in shown]


def _phones(keys: set[int]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = defaultdict(list)
    rows = ContactRoute.objects.filter(patient__in=keys, kind=RouteKind.PHONE).order_by("order", "pk")
    for patient, value in rows.values_list("patient", "value"):
        found[patient].append(value)
    return found


def _last_visits(keys: set[int]) -> dict[int, date]:
    rows = Visit.objects.filter(patient__in=keys, struck_at__isnull=True).order_by().values("patient")
    return dict(rows.annotate(last=Max("attended_on")).values_list("patient", "last"))
