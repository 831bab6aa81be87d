"""What can happen to a patient of the demo, as plain values; `playback.py` plays them in the order of time.

`ago` counts days before the day of the build. A day that falls on a weekend moves back to the Friday.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Risk:
    ago: int
    factors: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""


@dataclass(frozen=True)
class Seen:
    """A visit and what was done in it; `mole` is the subject of purposes that concern a lesion."""

    ago: int
    done: tuple[str, ...] = ("full_skin_check",)
    mole: str = ""
    note: str = ""


@dataclass(frozen=True)
class Mole:
    """A lesion enters the register; `site` is in the words of the chart, `kind` and `seed` are of `pictures.py`."""

    ago: int
    key: str
    site: str
    side: str
    kind: str = "plain"
    seed: int = 1
    monitoring: str | None = None
    note: str = ""


@dataclass(frozen=True)
class Shot:
    """A dermoscopic picture of a lesion; `change` is what has happened to it since the first one."""

    ago: int
    mole: str
    change: str = ""
    scale: bool = True


@dataclass(frozen=True)
class Refused:
    ago: int
    mole: str
    filename: str


@dataclass(frozen=True)
class Noted:
    """An urgent sign, in the patient's words."""

    ago: int
    mole: str
    sign: str
    words: str = ""


@dataclass(frozen=True)
class Decided:
    """A dermatologist signs; without a picture that waits it is a decision in person."""

    ago: int
    mole: str
    decision: str
    months: int | None = None
    note: str = ""


@dataclass(frozen=True)
class Cut:
    ago: int
    kind: str
    mole: str = ""
    site: str = ""


@dataclass(frozen=True)
class Reported:
    """A report on the last specimen; `anchored` is False where nobody knows the day of the excision."""

    ago: int
    code: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    anchored: bool = True


@dataclass(frozen=True)
class Told:
    """The last result is told in a visit."""

    ago: int


@dataclass(frozen=True)
class CareEnds:
    ago: int
    status: str
    ground: str


@dataclass(frozen=True)
class Called:
    """An attempt to reach the patient about the open recall of a purpose; `again` days later is the next one."""

    ago: int
    outcome: str
    purpose: str = "full_skin_check"
    route: str = "phone"
    hour: int = 10
    by: int = 0
    note: str = ""
    again: int | None = None


@dataclass(frozen=True)
class Booked:
    """An appointment for the open recall of a purpose; `on` counts working days from today, past ones below 0."""

    ago: int
    on: int
    purpose: str = "full_skin_check"


@dataclass(frozen=True)
class Ended:
    """How the last appointment came to an end, on a working day counted like `Booked.on`."""

    on: int
    how: str


@dataclass(frozen=True)
class Spaced:
    """The dermatologist sets another interval in place of the rules."""

    ago: int
    interval: str
    reason: str
    purpose: str = "full_skin_check"


@dataclass(frozen=True)
class Listed:
    """A published checklist is filled in for the last visit."""

    ago: int
    mole: str
    kind: str
    entries: Mapping[str, Any]


Event = (
    Risk
    | Seen
    | Mole
    | Shot
    | Refused
    | Noted
    | Decided
    | Cut
    | Reported
    | Told
    | CareEnds
    | Called
    | Booked
    | Ended
    | Spaced
    | Listed
)


@dataclass(frozen=True)
class Person:
    """An invented patient; `born` is year, month, day, `skin` one of the tones that the pictures know."""

    key: str
    given_name: str
    family_name: str
    born: tuple[int, int, int]
    town: str
    skin: str = "light"
    interpreter: str = ""
    sex: str = ""
    practitioner: str = ""
    referrer: str = ""
    photographs: bool | None = True
