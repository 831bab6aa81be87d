"""Find people: by anything that somebody says of himself, and those who may be one person."""

from collections.abc import Iterable, Iterator
from typing import Any, Final

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.formats.folding import fold, name_parts, phone_key, phone_keys_at_home
from clinic.models import ContactRoute, NamePart, Patient
from clinic.people import typed
from clinic.tally.kept_answers import KeptAnswer
from clinic.wording import SPOKEN

_NUMBER: Final = "QD-{:05d}"
# The end of a telephone number finds it from so many figures on; fewer are a whole number, or one of a record.
_END_OF_NUMBER: Final = 4
# A longer list is no help; nobody reads on to page 41 (clinic setting, no source).
MOST_FOUND: Final = 2000


def record_number(key: int) -> str:
    return _NUMBER.format(key)


def folded(given_name: str, family_name: str) -> dict[str, Any]:
    """Give the columns by which a name is compared."""
    return {"folded_given": fold(given_name), "folded_family": fold(family_name)}


def parts_of(patient: Patient) -> list[NamePart]:
    """Make the rows by which a patient is found from any word of the name."""
    parts = name_parts(patient.given_name) | name_parts(patient.family_name)
    return [NamePart(patient=patient, part=part) for part in sorted(parts)]


def write_parts(patient: Patient) -> None:
    """Write anew by which words a patient is found; in the transaction that writes the name."""
    patient.name_parts.all().delete()
    NamePart.objects.bulk_create(parts_of(patient))


def on_file() -> QuerySet[Patient]:
    return Patient.objects.filter(merged_into__isnull=True)


# To count a hundred thousand costs more than to show fifty of them.
KEPT: Final[dict[str, KeptAnswer]] = {"on_file": KeptAnswer(on_file, lambda rows: rows.count())}


def search(text: str) -> QuerySet[Patient]:
    """Search patients by words of the name, numbers of records, telephone numbers and days of birth; all must fit."""
    found = on_file()
    if not text.strip():
        return found
    sought = typed.read(text, SPOKEN)
    if sought.is_empty:
        # Something was typed and nothing of it can be sought: that is nobody, not everybody.
        return found.none()
    for condition in _bear(sought.words):
        found = found.filter(condition)
    for day in sought.days:
        found = found.filter(born=day)
    for number in sought.records:
        found = found.filter(_of_record(number))
    for number in sought.numbers:
        found = found.filter(_either_number(number))
    return found


def few_enough(found: QuerySet[Patient]) -> QuerySet[Patient] | None:
    """Give those found, asked for once, in the usual order; None where they are too many for a list."""
    keys = list(found.order_by().values_list("pk", flat=True)[: MOST_FOUND + 1])
    return Patient.objects.filter(pk__in=keys) if len(keys) <= MOST_FOUND else None


def _bear(words: Iterable[str]) -> Iterator[Q | Exists]:
    """Ask the index for who bears the longest word, and each of those whether they bear the others."""
    # The longest word is the rarest as a rule: one look-up in the index, then a question about few people.
    longest, *others = sorted(words, key=len, reverse=True) or [""]
    if longest:
        yield Q(pk__in=NamePart.objects.filter(part__begins=longest).values("patient"))
    for word in others:
        yield Exists(NamePart.objects.filter(patient=OuterRef("pk"), part__begins=word))


def _either_number(number: str) -> Q:
    """A telephone number in any spelling, or the number of a record without its prefix and zeros."""
    key = phone_key(number)
    whole = Q(phone_key__in=[key, *phone_keys_at_home(number)])
    ends_so = Q(phone_key__begins=key) if len(key) >= _END_OF_NUMBER else Q()
    routes = ContactRoute.objects.filter(whole | ends_so).exclude(phone_key="")
    called = Q(pk__in=routes.values("patient"))
    return called | _of_record(number) if number.isdecimal() else called


def _of_record(number: str) -> Q:
    """The number of a record, also of one that was merged: it stands on old letters, and leads to the one kept."""
    written = record_number(int(number))
    merged = Patient.objects.filter(number=written, merged_into__isnull=False)
    return Q(number=written) | Q(pk__in=merged.values("merged_into"))


def namesakes(patient: Patient) -> QuerySet[Patient]:
    """Find other patients with the same family name and the same initial, however they are spelled."""
    # The initial and not the whole name: on the telephone Ann and Anna sound alike.
    others = Patient.objects.filter(folded_family=patient.folded_family, merged_into__isnull=True)
    return others.filter(folded_given__begins=patient.folded_given[:1]).exclude(pk=patient.pk)


def shares_name(of: str = "") -> Exists:
    """Ask of each row whether another patient bears its full name as well; `of` leads from the row to the patient."""
    same = {name: OuterRef(f"{of}{name}") for name in ("folded_family", "folded_given")}
    others = Patient.objects.filter(merged_into__isnull=True, **same)
    return Exists(others.exclude(pk=OuterRef(f"{of}pk")))


def shared_names(patients: Iterable[Patient]) -> set[int]:
    """Find those in the list whose full name another patient bears as well."""
    shown = Patient.objects.filter(pk__in=[one.pk for one in patients])
    return set(shown.filter(shares_name()).order_by().values_list("pk", flat=True))
