"""Who was told a result: the patient, a carer who might be told it that day, or somebody named with a word why."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.duties import wording
from clinic.duties.ledger import DutyRefused
from clinic.duties.outcomes import Outcome
from clinic.models import Carer, Duty, ToldTo


@dataclass(frozen=True)
class WhoWasTold:
    """`to`: a code of ToldTo, empty where nobody was told; `why`: why somebody else might be, whom the step names."""

    to: str = ""
    carer: Carer | None = None
    why: str = ""

    def stated(self) -> dict[str, Any]:
        """Give what a step keeps of it."""
        return {"told_to": self.to, "carer": self.carer, "why_told": self.why.strip()}


THE_PATIENT = WhoWasTold(ToldTo.PATIENT)


def check(told: WhoWasTold, *, whom: str, duty: Duty, outcome: Outcome, on: date) -> None:
    """Nothing of a person's health is said to whoever has no authority (common practice, no source)."""
    if duty.kind != "tell":
        return
    if told.to not in ("", *ToldTo.values):
        raise DutyRefused(wording.MISSING["told_to"])
    if told.to == ToldTo.PATIENT and outcome.code == "cannot":
        raise DutyRefused(wording.TOLD_AND_NOT_TOLD)
    named = {ToldTo.CARER: told.carer is not None, ToldTo.OTHER: bool(whom or told.why.strip())}
    if any(given and told.to != to for to, given in named.items()):
        raise DutyRefused(wording.NAMED_AND_NOT_CHOSEN)
    if told.to == ToldTo.CARER and not _might_be(told.carer, duty, on):
        raise DutyRefused(wording.MAY_NOT_BE_TOLD)
    if told.to == ToldTo.OTHER and not (whom and told.why.strip()):
        raise DutyRefused(wording.WHO_AND_WHY_TOLD)


def _might_be(carer: Carer | None, duty: Duty, on: date) -> bool:
    return carer is not None and carer.patient_id == duty.patient_id and carer.may_be_told_on(on)
