"""Say how long a visit lasts for everything that it is for, and which kind of hours it needs."""

from collections.abc import Iterable
from typing import Final, Protocol

from clinic.models.visit import Purpose
from scheduling.models import PlaceKind, PurposeLength, Recall

# Minutes of each purpose until the clinic sets its own: clinic setting, no source.
SHIPPED: Final = {
    Purpose.FULL_SKIN_CHECK: 20,
    Purpose.LESION_IMAGE: 10,
    Purpose.LESION_EXAMINATION: 10,
    Purpose.REST_OF_SKIN_CHECK: 10,
    Purpose.RESULT_VISIT: 20,
    Purpose.WOUND_CHECK: 10,
    Purpose.SUTURE_REMOVAL: 10,
    Purpose.RISK_ASSESSMENT: 10,
    Purpose.NODE_EXAMINATION: 10,
    Purpose.NODE_ULTRASOUND: 20,
    Purpose.SECTIONAL_IMAGING: 20,
    Purpose.LABORATORY: 10,
}
# Decided, and done in hours kept for it: longer than a look at the lesion. Clinic setting, no source.
OF_A_PROCEDURE: Final = {PlaceKind.BIOPSY: 30, PlaceKind.EXCISION: 45}
_DECIDED = {"biopsy": PlaceKind.BIOPSY, "excise": PlaceKind.EXCISION}
LONGEST: Final = 240  # a longer visit could not be booked: `bookable.check_hours` refuses it


class Wanted(Protocol):
    @property
    def purpose(self) -> str: ...


def in_force() -> dict[str, int]:
    own = dict(PurposeLength.objects.values_list("purpose", "minutes"))
    return {purpose.value: own.get(purpose.value, minutes) for purpose, minutes in SHIPPED.items()}


def minutes_of(recalls: Iterable[Recall]) -> int:
    """Add up the minutes of everything that one visit is for, in whole steps of five."""
    known = in_force()
    total = sum(
        OF_A_PROCEDURE[kind] if (kind := kind_of(row)) in OF_A_PROCEDURE else known[row.purpose]
        for row in recalls
    )
    # Rounded up to the cells of the diary, whatever a clinic's lengths come to be.
    return min(LONGEST, max(5, -(-total // 5) * 5))


def kind_of(recall: Recall) -> PlaceKind:
    """Say which hours a recall needs: those of the procedure that a dermatologist decided on, else any visit's."""
    decided = (reason.get("params", {}).get("decision", "") for reason in recall.reasons)
    return next((_DECIDED[word] for word in decided if word in _DECIDED), PlaceKind.VISIT)


def asks_for_tissue(recall: Recall) -> bool:
    """Say whether a recall is a biopsy or an excision that is decided and not done: its request can be printed."""
    return kind_of(recall) in OF_A_PROCEDURE and recall.subject.startswith("lesion:")


def kind_for(recalls: Iterable[Recall]) -> PlaceKind:
    """Say which hours a visit for several needs: the longest of what was decided."""
    order = (PlaceKind.VISIT, PlaceKind.BIOPSY, PlaceKind.EXCISION)
    return max(map(kind_of, recalls), key=order.index, default=PlaceKind.VISIT)
