"""Show both days before somebody is made to wait longer, and have a dermatologist sign (docs/domain.md, 4).

Adding facts never lengthens; correcting one, answering an open question or a lower tier may. Upper apps know the days:
they register here how to look at them.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.access import Act, require
from clinic.models import Member, Patient
from clinic.people import wording
from clinic.wording import Words


@dataclass(frozen=True)
class Wait:
    """One duty as it was and as it would be; None where nothing would be asked for any more.

    `key` is what the trail keeps, `what` its words. `fewer`: of the visits of the next two years one comes later or
    falls away.
    """

    key: str
    what: Words
    before: date
    before_latest: date
    after: date | None
    after_latest: date | None
    fewer: bool

    def plain(self) -> dict[str, Any]:
        return {"what": self.key, "was": str(self.before), "is": str(self.after or ""), "fewer": self.fewer}


class MakesLonger(Exception):
    """Raised where a change would make somebody wait longer: nothing is saved, `waits` are to be looked at first."""

    def __init__(self, waits: Iterable[Wait]) -> None:
        super().__init__(wording.SEEN_LATER)
        self.waits = tuple(waits)
        # What was looked at, to the day: if anything moves before the signature comes, it no longer fits.
        self.signature = "|".join(
            f"{one.key} {one.before} {one.before_latest} {one.after} {one.after_latest} {one.fewer}"
            for one in self.waits
        )


# Called before facts change; what it returns is called after, in the same transaction.
Later = Callable[[], list[Wait]]
LOOKS: dict[str, Callable[[Patient], Later]] = {}


def add_look(name: str, look: Callable[[Patient], Later]) -> None:
    """Have an upper app look at a patient's days before and after a change of facts."""
    LOOKS[name] = look


def before(patient: Patient) -> list[Later]:
    """Look at a patient's days before a change of facts; what comes back goes to `check`."""
    return [look(patient) for look in LOOKS.values()]


def check(asked: list[Later], *, by: Member, signed: str) -> dict[str, Any]:
    """Compare the days after a change of facts; gives details for its audit record. Raises MakesLonger."""
    longer = compare(asked, signed=signed)
    # Asked last: what lengthens nothing needs no dermatologist.
    if longer:
        require(by, Act.OVERRIDE)
    return longer


def compare(asked: list[Later], *, signed: str) -> dict[str, Any]:
    """The same where two people sign: one of them is a dermatologist, whoever of the two it is."""
    waits = [wait for later in asked for wait in later()]
    if not waits:
        return {}
    refusal = MakesLonger(waits)
    if signed != refusal.signature:
        raise refusal
    return {"longer": [wait.plain() for wait in waits]}
