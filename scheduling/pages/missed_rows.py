"""Make the rows of Missed: who, what for, how late, why and whose it is, in words that a template only writes down."""

from collections.abc import Iterable, Sequence
from typing import Any

from clinic.addresses import address_of
from clinic.models import Patient
from clinic.pages.said import Said, who
from scheduling.models import Urgency
from scheduling.recalls import wording
from scheduling.recalls.missed import MissedRow


def rows(found: Sequence[MissedRow]) -> list[dict[str, Any]]:
    """Write the rows of one page."""
    said, places = Said(), wording.subjects([row.recall for row in found])
    return [_row(row, said, places) for row in found]


def _row(row: MissedRow, said: Said, places: dict[str, str]) -> dict[str, Any]:
    recall = row.recall
    about = recall.purpose, recall.subject, recall.number
    return who(row.patient, said) | {
        "recall": address_of("scheduling:recall", recall.pk),
        "what": said.once(about, lambda: wording.what_for(recall, places)),
        "urgent": recall.urgency == Urgency.A,
        "urgency": said.once(("urgency", recall.urgency), recall.get_urgency_display),
        "clinician": row.clinician,
        "latest": said.day(recall.latest),
        "days_late": row.days_late,
        "why": row.why,
        "owner": row.owner,
        "is_member": row.is_member,
    }


def named(keys: Iterable[int]) -> dict[int, tuple[str, str, str, str]]:
    """Give the address, the name, the day of birth and the number of those whom alarms name, by their keys."""
    said = Said()
    people = Patient.objects.filter(pk__in=set(keys)).order_by()
    rows = people.values_list("pk", "given_name", "family_name", "born", "number")
    return {
        key: (address_of("clinic:patient", key), Patient.in_full(given, family), said.day(born), number)
        for key, given, family, born, number in rows
    }
