"""Who may be registered already: of the same day of birth and a like name, or of the same telephone number."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import QuerySet
from rapidfuzz.distance import JaroWinkler

from clinic.formats.folding import fold, phone_key, phone_keys_at_home
from clinic.models import ContactRoute, Patient

# Jaro-Winkler similarity, 0 to 1, the mean of family and given name. Winkler 1990 asks clerks to look at pairs beyond a
# lower limit; 0.85 is a clinic setting, no source.
LIKE_NAME: Final = 0.85
MOST: Final = 5


@dataclass(frozen=True)
class Alike:
    """Somebody on record who may be the person at hand, and by what."""

    patient: Patient
    by_name: bool
    by_phone: bool


def find_alike(*, family_name: str, born: date, given_name: str = "", phone: str = "") -> list[Alike]:
    """Find the few who may be this person; those alike in name come first."""
    kept = Patient.objects.filter(merged_into__isnull=True)
    typed = (fold(given_name), fold(family_name))
    # Those born on one day are few enough to compare one by one; no index answers a question of likeness.
    by_name = [
        one for one in kept.filter(born=born) if is_like_name(typed, (one.folded_given, one.folded_family))
    ]
    by_phone = list(kept.filter(pk__in=_called(phone))[:MOST]) if phone_key(phone) else []
    people = {one.pk: one for one in (*by_name, *by_phone)}
    found = [Alike(one, one in by_name, one in by_phone) for one in people.values()]
    return found[:MOST]


def is_like_name(one: tuple[str, str], other: tuple[str, str]) -> bool:
    """Say whether two folded names (given, family) are like each other, also where one has them the other way round."""
    return likeness(one, other) >= LIKE_NAME


def likeness(one: tuple[str, str], other: tuple[str, str]) -> float:
    """Compare two folded names (given, family), 0 to 1; also where one has them the other way round."""
    return max(_likeness(one, other), _likeness(one, other[::-1]))


def _likeness(one: tuple[str, str], other: tuple[str, str]) -> float:
    """A part that one of them lacks says nothing."""
    both = [(mine, theirs) for mine, theirs in zip(one, other, strict=True) if mine and theirs]
    return sum(JaroWinkler.similarity(*pair) for pair in both) / len(both) if both else 0.0


def _called(phone: str) -> QuerySet[ContactRoute, int]:
    keys = [phone_key(phone), *phone_keys_at_home(phone)]
    return ContactRoute.objects.filter(phone_key__in=keys).values_list("patient", flat=True)
