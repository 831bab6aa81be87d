"""Find every night which two records may be one person: blocks by day of birth and telephone, then names compared.

A pair is found by the same day of birth and a like name, or by the same telephone with either of the two: a telephone
alone is a household. Clinic setting, no source; blocking as in Fellegi and Sunter 1969 and Winkler 1990 (from memory).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import combinations, groupby, islice
from typing import Any, Final

from django.db import transaction
from django.db.models import Count, Q

from clinic import clock
from clinic.duties import limits
from clinic.merging.alike import LIKE_NAME, likeness
from clinic.models import ContactRoute, LikelyPair, PairReason, PairState, Patient, insert_all
from clinic.trail import audit

# Pairs written together: what is kept in memory does not grow with the number of records.
_TOGETHER: Final = 200
Key = tuple[int, int]


@dataclass(frozen=True)
class Person:
    """What of a record is compared."""

    pk: int
    born: date
    names: tuple[str, str]
    phone: str = ""


@dataclass(frozen=True)
class Found:
    one: int
    other: int
    reason: PairReason
    likeness: float


def find_pairs(day: date) -> int:
    """Put down every pair that is not known yet; returns how many are new. Runs every night."""
    decided, new = _said_of_merged(), 0
    found = find()
    while portion := list(islice(found, _TOGETHER)):
        new += _keep([one for one in portion if (one.one, one.other) not in decided], day)
    return new


def find() -> Iterator[Found]:
    """Find all pairs, known or not; those of one day of birth first. A pair may come twice."""
    yield from _alike(_by_birth(), lambda one: one.born)
    yield from _alike(_by_phone(), lambda one: one.phone)


def _alike(people: Iterable[Person], block: Any) -> Iterator[Found]:
    for _key, group in groupby(people, block):
        for one, other in combinations(group, 2):
            if one.pk != other.pk and (found := _compared(one, other)):
                yield found


def _compared(one: Person, other: Person) -> Found | None:
    like = likeness(one.names, other.names)
    same_day, same_phone = one.born == other.born, bool(one.phone) and one.phone == other.phone
    if like < LIKE_NAME and not (same_day and same_phone):
        return None
    reason = PairReason.BOTH if same_day and same_phone else PairReason.NAME if same_day else PairReason.PHONE
    first, second = sorted((one.pk, other.pk))
    return Found(first, second, reason, like)


def _by_birth() -> Iterator[Person]:
    rows = Patient.objects.filter(merged_into__isnull=True).order_by("born", "pk")
    columns = rows.values_list("pk", "born", "folded_given", "folded_family")
    for key, born, given, family in columns.iterator(chunk_size=2000):
        yield Person(key, born, (given, family))


def _by_phone() -> Iterator[Person]:
    """Only numbers that several records have; a carer's number is nobody's own."""
    own = ContactRoute.objects.filter(carer__isnull=True, patient__merged_into__isnull=True).exclude(
        phone_key=""
    )
    shared = (
        own.order_by()
        .values("phone_key")
        .annotate(people=Count("patient", distinct=True))
        .filter(people__gt=1)
    )
    rows = own.filter(phone_key__in=shared.values("phone_key")).order_by("phone_key", "patient")
    names = ("patient", "patient__born", "patient__folded_given", "patient__folded_family", "phone_key")
    for key, born, given, family, phone in rows.values_list(*names).iterator(chunk_size=2000):
        yield Person(key, born, (given, family), phone)


def _said_of_merged() -> set[Key]:
    """Somebody said of a record that was merged since that it is another person: it holds for the one that is kept."""
    rows = LikelyPair.objects.filter(state=PairState.TWO_PEOPLE)
    merged = rows.filter(Q(one__merged_into__isnull=False) | Q(other__merged_into__isnull=False))
    found = set()
    for one, its, other, others in merged.values_list(
        "one", "one__merged_into", "other", "other__merged_into"
    ):
        first, second = sorted((its or one, others or other))
        found.add((first, second))
    return found


@transaction.atomic
def _keep(portion: Iterable[Found], day: date) -> int:
    """Write those of a portion that are not known; a pair that is found by both of its marks says so."""
    by_key: dict[Key, Found] = {}
    for one in portion:
        by_key[one.one, one.other] = one
    pairs = LikelyPair.objects.filter(one__in={key for key, _other in by_key})
    known = set(pairs.values_list("one", "other"))
    _also_by_phone(pairs, by_key)
    new = [found for key, found in by_key.items() if key not in known]
    due, now = limits.in_force()["same_person"].due_on(clock.today(), False), clock.now()
    said = {"found_on": day, "due_on": due, "changed_at": now}
    rows = [
        {"one_id": one.one, "other_id": one.other, "reason": one.reason, "likeness": one.likeness, **said}
        for one in new
    ]
    keys = insert_all(LikelyPair, rows)
    patients = Patient.objects.in_bulk([one.one for one in new])
    audit.record_all(_entry(key, patients[one.one], one) for key, one in zip(keys, new, strict=True))
    return len(new)


def _also_by_phone(pairs: Any, by_key: dict[Key, Found]) -> None:
    for pair in pairs.filter(state=PairState.OPEN, reason=PairReason.NAME):
        found = by_key.get((pair.one_id, pair.other_id))
        if found and found.reason == PairReason.BOTH:
            LikelyPair.objects.filter(pk=pair.pk).update(reason=PairReason.BOTH)


def _entry(key: int, patient: Patient, found: Found) -> audit.Entry:
    subject = f"{LikelyPair._meta.label_lower}:{key}"
    return audit.Entry("pair.find", subject, patient, {"other": found.other, "reason": found.reason})
